package virtual

import (
	"errors"
	"regexp"
	"strings"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// The dialects that an instrument may speak. Letters and talk-only are of
// instruments older than SCPI: invented, after common practice, no source.
const (
	dialectSCPI    = "scpi"
	dialectLetters = "letters"
	dialectTalks   = "talk-only"
)

// Bits of the status byte of an instrument that speaks letters.
const (
	lettersReady   = 1 << 0 // a reading waits to be fetched
	lettersSettled = 1 << 3 // of a source: settled, and its synthesis is locked
	lettersError   = 1 << 5 // a code was not understood, or could not be done
)

// A reading is one letter, a sign place, mantissa and exponent: always as long.
const (
	lettersMantissa = 18
	lettersTail     = "E+0"
)

// letter is one code with its number, if it takes one.
type letter struct {
	code   string // FR
	number string // 225.5
	unit   string // MZ
}

// speller is an instrument that may speak letters.
type speller interface {
	// letterCodes are all codes, those that begin like others first.
	letterCodes() []string
	// spell carries a code out; the reply is sent where it has one.
	spell(s *session, l letter) (reply string, err error)
}

var letterNumber = regexp.MustCompile(`^([+-]?[0-9]+(?:\.[0-9]*)?)([A-Z]{2})?`)

// letters carries out a message of letter codes. What is not understood ends
// the message and shows in the status byte.
func (s *session) letters(message string) (reply string, has bool, err error) {
	d, ok := s.dev.(speller)
	if !ok {
		return "", false, nil
	}
	s.asking = true // a code that comes while a reading is awaited breaks it off
	rest := strings.ToUpper(strings.NewReplacer(" ", "", ",", "", ";", "").Replace(message))
	for rest != "" {
		s.b.catchUp()
		var l letter
		if l, rest, ok = nextLetter(d.letterCodes(), rest); !ok {
			s.dev.registers().push(errUndefined)
			break
		}
		text, err := d.spell(s, l)
		var e *scpi.Error
		switch {
		case errors.As(err, &e):
			if e != errInterrupted {
				s.dev.registers().push(e)
			}
			return "", false, nil
		case err != nil:
			return "", false, err
		case text != "":
			reply, has = text, true
		}
	}
	return reply, has, nil
}

func nextLetter(codes []string, text string) (l letter, rest string, ok bool) {
	for _, code := range codes {
		rest, found := strings.CutPrefix(text, strings.TrimSuffix(code, "#"))
		if !found {
			continue
		}
		if !strings.HasSuffix(code, "#") {
			return letter{code: code}, rest, true
		}
		m := letterNumber.FindStringSubmatch(rest)
		if m == nil {
			return letter{}, "", false
		}
		return letter{code: strings.TrimSuffix(code, "#"), number: m[1], unit: m[2]}, rest[len(m[0]):], true
	}
	return letter{}, "", false
}

// lettersStatus is the status byte as a serial poll reads it.
func lettersStatus(d device, available bool) byte {
	b := 0
	if available {
		b |= lettersReady
	}
	if ques, _ := d.conditions(); ques&quesFrequency == 0 {
		if _, isSource := d.(*source); isSource {
			b |= lettersSettled
		}
	}
	if len(d.registers().queue) > 0 {
		b |= lettersError
	}
	return byte(b)
}

func (c *counter) letterCodes() []string {
	return []string{"*TRG", "IA", "IB", "IC", "ID", "G#", "SR", "T"}
}

func (c *counter) spell(s *session, l letter) (string, error) {
	switch l.code {
	case "T", "*TRG":
		c.abort()
		c.initiate(s)
		if _, err := c.fetch(s); err != nil {
			return "", err
		}
		return c.spoken(), nil
	case "SR":
		c.status.clear()
		c.reset()
	case "G":
		codes := map[string]int32{"0": -3, "1": -2, "2": -1, "3": 0, "4": 1, "5": 2} // power of ten, in s
		power, ok := codes[l.number]
		if !ok || l.unit != "" {
			return "", errIllegalValue
		}
		if !c.setGate(quantity.Of[quantity.Second](1, power)) {
			return "", errOutOfRange
		}
	default:
		if !c.selectChannel(int(l.code[1]-'A') + 1) {
			return "", errOutOfRange
		}
	}
	return "", nil
}

// spoken is the last reading in its fixed form: F for a frequency, O for
// over-range, N for none.
func (c *counter) spoken() string {
	flag, digits := "F", c.last
	switch c.last {
	case replyOver:
		flag, digits = "O", strings.Repeat("9", lettersMantissa-1)
	case replyNaN:
		flag, digits = "N", "0"
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	fraction = fraction[:min(len(fraction), max(0, lettersMantissa-1-len(whole)))] // there is no room for more
	mark, pad := ".", "0"
	if c.sc.Link.Comma {
		mark = ","
	}
	if c.sc.Link.Suppress {
		pad = " "
	}
	mantissa := whole + mark + fraction
	return flag + " " + strings.Repeat(pad, max(0, lettersMantissa-len(mantissa))) + mantissa + lettersTail
}

func (s *source) letterCodes() []string { return []string{"FR#", "AP#", "R0", "R1", "SR"} }

func (s *source) spell(_ *session, l letter) (string, error) {
	switch l.code {
	case "R0", "R1":
		s.setRF(l.code == "R1")
	case "SR":
		s.status.clear()
		s.reset()
	case "FR":
		units := map[string]string{"HZ": "Hz", "KZ": "kHz", "MZ": "MHz", "GZ": "GHz"}
		f, err := quantity.Parse[quantity.Hertz](l.number + " " + units[l.unit])
		if err != nil {
			return "", errIllegalValue
		}
		if !s.setFrequency(f) {
			return "", errOutOfRange
		}
	case "AP":
		level, err := quantity.Parse[quantity.Decibel](l.number + " dB")
		if err != nil || l.unit != "DM" {
			return "", errIllegalValue
		}
		if !s.setLevel(level.Float()) {
			return "", errOutOfRange
		}
	}
	return "", nil
}
