package main

import (
	"fmt"
	"strings"
	"unicode"

	"bandproof/drivers/find"
)

// gap marks what the person has to fill in. A key so marked is empty, so that
// the program says of each, by line and key, that it can't be.
const gap = "# FILL IN: "

// snippet is an instrument's part of a bench file. What nobody says of it has
// a gap.
func snippet(x find.Found) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	if x.Answer != "" {
		line("# says %s", comment(x.Answer))
	} else if x.Note != "" {
		line("# %s", comment(x.Note))
	}
	name := instrumentName(x)
	switch x.Role {
	case "counter":
		line("[counter]")
		connection(&b, x)
		line("reference = \"\"          %s\"own\", or the name of the reference that it runs from", gap)
		return b.String()
	case "source":
		line("[[source]]")
		standard(&b, x, name)
		connection(&b, x)
		line("range = [\"\", \"\"]          %slowest and highest frequency, such as [\"10 MHz\", \"18 GHz\"]", gap)
		line("level = [\"\", \"\"]          %slowest and highest level, such as [\"-60 dBm\", \"13 dBm\"]", gap)
		line("level_uncertainty = \"\"  %ssuch as \"0.5 dB\"", gap)
		line("reference = \"\"          %s\"own\" (then own_timebase too), \"unit\", or the name of a reference", gap)
	case "power meter":
		line("[[power_meter]]")
		standard(&b, x, name)
		connection(&b, x)
		line("range = [\"\", \"\"]          %slowest and highest frequency", gap)
		line("level = [\"\", \"\"]          %slowest level that it measures and highest that it stands", gap)
		line("uncertainty = \"\"        %sof a measured level (k = 2), such as \"0.3 dB\"", gap)
	case "switch":
		line("[[switch]]")
		standard(&b, x, name)
		connection(&b, x)
	case "thermometer":
		line("[[thermometer]]")
		standard(&b, x, name)
		connection(&b, x)
	default:
		line("# It is not known what this is. Set it under [counter], [[source]], [[power_meter]], …:")
		var inner strings.Builder
		connection(&inner, x)
		for l := range strings.Lines(inner.String()) {
			b.WriteString("# " + l)
		}
	}
	return b.String()
}

func standard(b *strings.Builder, x find.Found, name string) {
	fmt.Fprintf(b, "name = %s\n", tomlText(name))
	for _, f := range []struct{ key, text string }{{"maker", x.Maker}, {"model", x.Model}, {"serial", x.Serial}} {
		if f.text != "" {
			fmt.Fprintf(b, "%s = %s\n", f.key, tomlText(f.text))
		}
	}
	b.WriteString("# certificate = \"\", calibrated = \"2026-05-31\", due = \"2027-05-31\": as its certificate says\n")
}

func connection(b *strings.Builder, x find.Found) {
	if x.Address == "" {
		fmt.Fprintf(b, "address = \"\"            %sits VISA resource name, such as TCPIP0::192.0.2.7::5025::SOCKET or ASRL/dev/ttyUSB0::INSTR\n", gap)
	} else {
		fmt.Fprintf(b, "address = %s\n", tomlText(x.Address))
	}
	if x.Via != "" {
		fmt.Fprintf(b, "via = %s\n", tomlText(x.Via))
	}
	if x.Baud != 0 {
		fmt.Fprintf(b, "baud = %d\n", x.Baud)
	}
	if x.Profile == "" {
		fmt.Fprintf(b, "profile = \"\"            %sa ready profile, such as scpi-counter or scpi-source, or a file beside this one\n", gap)
		return
	}
	fmt.Fprintf(b, "profile = %s  # the generic one: check it against the instrument's manual\n", tomlText(x.Profile))
}

// instrumentName is what a person would call it.
func instrumentName(x find.Found) string {
	if x.Model != "" {
		return x.Model
	}
	if x.Role != "" {
		return x.Role
	}
	return "instrument"
}

// tomlText is a text as TOML writes it. What can't be printed is replaced: an
// instrument may answer anything.
func tomlText(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(comment(text)) + `"`
}

// comment makes a text fit for one line.
func comment(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r) {
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}
