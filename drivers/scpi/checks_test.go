package scpi

import (
	"strings"
	"testing"

	"bandproof/testdata/checks/checktable"
)

// check is one entry of testdata/checks/messages.toml, which names its source.
type check struct {
	ID     string `toml:"id"`
	Inputs struct {
		Text []string `toml:"text"`
		Code []int    `toml:"code"`
	} `toml:"inputs"`
	Expect struct {
		NR1     []string       `toml:"nr1"`
		NR2     []string       `toml:"nr2"`
		NR3     []string       `toml:"nr3"`
		NR3Also []string       `toml:"nr3_listen_also"`
		Meaning []string       `toml:"meaning"`
		Payload []string       `toml:"payload"`
		Form    []string       `toml:"form"`
		Text    []string       `toml:"text"`
		Weight  map[string]int `toml:"weight"`
	} `toml:"expect"`
}

// published gives one published check.
func published(t *testing.T, id string) check {
	t.Helper()
	for _, c := range checktable.Load[check](t, "../../testdata/checks/messages.toml") {
		if c.ID == id {
			return c
		}
	}
	t.Fatalf("testdata/checks/messages.toml has no check %q", id)
	return check{}
}

func TestPublishedNumberForms(t *testing.T) {
	e := published(t, "nr-forms").Expect
	all := append(append(append(append([]string{}, e.NR1...), e.NR2...), e.NR3...), e.NR3Also...)
	if len(all) < 12 {
		t.Fatalf("%d forms in the file; want 12 or more", len(all))
	}
	for _, text := range all {
		n, err := ParseNumber([]byte(text))
		if err != nil || n.Text != text {
			t.Errorf("ParseNumber(%q) is %+v, %v", text, n, err)
		}
	}
}

func TestPublishedSpecialNumbers(t *testing.T) {
	c := published(t, "scpi-special-numbers")
	if len(c.Inputs.Text) == 0 {
		t.Fatal("no texts in the file")
	}
	for i, text := range c.Inputs.Text {
		n, err := ParseNumber([]byte(text))
		if err != nil || n.Marker.String() != c.Expect.Meaning[i] {
			t.Errorf("ParseNumber(%q) is %s, %v; want %s", text, n.Marker, err, c.Expect.Meaning[i])
		}
	}
}

func TestPublishedBlocks(t *testing.T) {
	c := published(t, "definite-block")
	if len(c.Inputs.Text) == 0 {
		t.Fatal("no texts in the file")
	}
	for i, text := range c.Inputs.Text {
		b, err := DecodeBlock([]byte(strings.ReplaceAll(text, "<NL^END>", "\n")))
		if err != nil || string(b.Data) != c.Expect.Payload[i] || b.Definite != (c.Expect.Form[i] == "definite") || len(b.Rest) != 0 {
			t.Errorf("DecodeBlock(%q) is %+v, %v; want %q, %s", text, b, err, c.Expect.Payload[i], c.Expect.Form[i])
		}
	}
}

func TestPublishedErrorTexts(t *testing.T) {
	for _, id := range []string{"scpi-errors-command", "scpi-errors-execution"} {
		c := published(t, id)
		if len(c.Inputs.Code) < 15 {
			t.Fatalf("%s: %d codes in the file", id, len(c.Inputs.Code))
		}
		for i, code := range c.Inputs.Code {
			if got := StandardText(code); got != c.Expect.Text[i] {
				t.Errorf("text of %d is %q, want %q", code, got, c.Expect.Text[i])
			}
		}
	}
	if got := StandardText(17); got != "" {
		t.Errorf("text of 17 is %q, want none", got)
	}
}

func TestPublishedStatusBits(t *testing.T) {
	ours := map[string]map[string]int{
		"esr-bits": {"OPC": OperationComplete, "RQC": RequestControl, "QYE": QueryError, "DDE": DeviceDependentError, "EXE": ExecutionError,
			"CME": CommandError, "URQ": UserRequest, "PON": PowerOn},
		"stb-bits": {"EAV_error_queue": ErrorAvailable, "QUES": QuestionableState, "MAV": MessageAvailable, "ESB": EventSummary,
			"RQS_MSS": MasterSummary, "OPER": OperationState},
	}
	for id, bits := range ours {
		want := published(t, id).Expect.Weight
		if len(want) != len(bits) {
			t.Errorf("%s: %d bits in the file, %d here", id, len(want), len(bits))
		}
		for name, bit := range bits {
			if want[name] != bit {
				t.Errorf("%s: %s is %d, want %d", id, name, bit, want[name])
			}
		}
	}
}
