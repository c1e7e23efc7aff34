package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"bandproof/drivers/find"
	"bandproof/procedures"

	"github.com/spf13/cobra"
)

func benchCommand(t *terminal) *cobra.Command {
	c := &cobra.Command{Use: "bench", Short: "begin a bench file",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage{fmt.Errorf("bench has no command %q; there is init", args[0])}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	c.AddCommand(benchInit(t))
	return c
}

func benchInit(t *terminal) *cobra.Command {
	var f findFlags
	var from string
	c := &cobra.Command{
		Use:   "init [FILE]",
		Short: "look for instruments and write a commented bench file with gaps to fill in",
		Long: `Look for instruments as "find" does, and write a bench file (bench.toml unless
stated) of what was found, with comments. What the program can't know is marked
"FILL IN"; "bandproof plan" names each gap that is left. A file that is there
already is never overwritten.`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage{fmt.Errorf("%s takes one file at most; see \"%s --help\"", c.CommandPath(), c.CommandPath())}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			file := "bench.toml"
			if len(args) > 0 {
				file = args[0]
			}
			if _, err := os.Lstat(file); !errors.Is(err, fs.ErrNotExist) {
				return usage{fmt.Errorf("%s is there already; name another file, or move it away", file)}
			}
			var l looked
			var err error
			if from != "" {
				l, err = readLooked(from)
			} else {
				l, err = f.look(c.Context(), t)
			}
			if err != nil {
				return err
			}
			text := benchText(l)
			if err := createFile(file, text); err != nil {
				return usage{err}
			}
			for _, p := range l.Problems {
				t.note("note: %s", p)
			}
			t.print("wrote %s with %d instruments and %d gaps to fill in", file, len(l.Found), strings.Count(text, gap))
			return nil
		},
	}
	f.add(c)
	c.Flags().StringVar(&from, "from", "", "take what \"find --json\" found from this file instead of looking")
	return c
}

func readLooked(file string) (looked, error) {
	var l looked
	text, err := readFile(file, "find")
	if err != nil {
		return l, usage{err}
	}
	if err := json.Unmarshal(text, &l); err != nil {
		return l, usage{fmt.Errorf("%s: %w; expected what \"find --json\" prints", file, err)}
	}
	if l.Schema != findSchema {
		return l, usage{fmt.Errorf("%s: schema is %q; expected %q, as \"find --json\" prints", file, l.Schema, findSchema)}
	}
	return l, nil
}

// createFile writes a file that must not be there yet.
func createFile(file, text string) error {
	w, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write %w", err)
	}
	_, err = w.WriteString(text)
	if err = errors.Join(err, w.Close()); err != nil {
		return fmt.Errorf("write %w", errors.Join(err, os.Remove(file)))
	}
	return nil
}

// sections are the comments that head the parts of a bench file, in order.
var sections = []struct{ role, about string }{
	{"reference", "The frequency standards. Leave this out where source and unit run from\n# their own timebases."},
	{"source", "What makes the signal. Range and level are those that the source keeps its\n# specification in; the run never leaves them."},
	{"counter", "How the unit is reached, and what it runs from: whether its timebase is\n# tested depends on that."},
	{"switch", "Switches that route a source to an input without a person."},
	{"power meter", "Power meters that measure the level at inputs."},
	{"thermometer", "Thermometers and hygrometers for the ambient conditions."},
	{"", "Found as well. Leave out what is not part of the bench."},
}

// benchText is a whole bench file of what was found.
func benchText(l looked) string {
	var b strings.Builder
	fmt.Fprintf(&b, `# A bench file, begun by "bandproof bench init". Each key marked "FILL IN" is a
# gap: "bandproof plan PROCEDURE BENCH" tells which are left. "bandproof schema
# bench" prints a JSON Schema that lets an editor complete and check the file.
schema = %q
name = ""                %sname of this bench

[laboratory]
name = ""                %swho does the work
# address = ["1 Example Yard", "Exampletown"]
# contact = "bench@example.org"
`, procedures.BenchSchema, gap, gap)
	names := map[string]int{}
	var sources []string
	for _, s := range sections {
		text := referenceText
		if s.role != "reference" {
			text = ""
			for _, x := range wanted(l, s.role) {
				if s.role != "" && s.role != "counter" {
					x = distinctly(x, names)
				}
				if s.role == "source" {
					sources = append(sources, instrumentName(x))
				}
				one := snippet(x)
				if s.role == "counter" && text != "" { // there is one unit
					one = "# Another counter was found; if this is the unit, use it instead:\n" + commentedOut(one)
				}
				text += "\n" + one
			}
		}
		if text != "" {
			fmt.Fprintf(&b, "\n# %s\n%s", s.about, text)
		}
	}
	b.WriteString("\n# The ways from the sources to the inputs of the unit, with their losses.\n")
	for _, s := range sources {
		fmt.Fprintf(&b, pathText, tomlText("from "+s), tomlText(s), gap, gap, gap)
	}
	return b.String()
}

// wanted is what was found of a role. A bench needs a source and a counter:
// where none was found there is one with gaps.
func wanted(l looked, role string) []find.Found {
	var list []find.Found
	for _, x := range l.Found {
		if x.Role == role {
			list = append(list, x.Found)
		}
	}
	if len(list) == 0 && (role == "source" || role == "counter") {
		list = append(list, find.Found{Role: role, Note: "no " + role + " was found; \"bandproof find --try\" asks what you name"})
	}
	return list
}

// distinctly gives an instrument a model that no other has, as it stands for
// its name.
func distinctly(x find.Found, names map[string]int) find.Found {
	name := instrumentName(x)
	if names[name]++; names[name] > 1 {
		x.Model = fmt.Sprintf("%s %d", name, names[name])
	}
	return x
}

func commentedOut(text string) string {
	var b strings.Builder
	for l := range strings.Lines(text) {
		b.WriteString("# " + l)
	}
	return b.String()
}

const referenceText = `#
# [[reference]]
# name = "house standard"
# frequency = "10 MHz"
# uncertainty = "2e-11"  # expanded (k = 2), from its certificate
# calibrated = "2026-05-31"
# due = "2027-05-31"
`

const pathText = `
[[path]]
name = %s
source = %s
input = ""               %sthe input of the unit, as the procedure names it

[[path.part]]
name = "cable"
coax = true
loss = []                %sfrequency and loss, such as [["10 MHz", "0.1 dB"], ["1 GHz", "0.9 dB"]]
uncertainty = ""         %sof the loss (k = 2), such as "0.2 dB"
`
