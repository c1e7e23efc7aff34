package drivertest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"bandproof/drivers/link"
)

// fakeT collects what a playback has to say.
type fakeT struct {
	failures []string
	cleanups []func()
}

func (f *fakeT) Helper() {}
func (f *fakeT) Errorf(format string, args ...any) {
	f.failures = append(f.failures, fmt.Sprintf(format, args...))
}
func (f *fakeT) Cleanup(c func()) { f.cleanups = append(f.cleanups, c) }

func (f *fakeT) end() string {
	for _, c := range f.cleanups {
		c()
	}
	return strings.Join(f.failures, "; ")
}

const address = "TCPIP0::192.0.2.7::5025::SOCKET"

var background = context.Background()

func TestPlaybackGivesTheAnswersOfTheScript(t *testing.T) {
	script, err := ParseScript(`
		# a counter (invented)
		> "*IDN?"
		< "A,B,C,D"
		> "*RST"
		> "FETC?"
		< ! timeout
		clear
		> "FETC?"
		< "1\n2"
		> "X" ! disconnected
		clear ! disconnected
		clear
	`)
	if err != nil {
		t.Fatal(err)
	}
	p := NewPlayback(t, address, script)
	answer, err := p.Query(background, []byte("*IDN?"))
	if err != nil || string(answer) != "A,B,C,D" {
		t.Fatalf("identity %q, %v", answer, err)
	}
	if err := p.Write(background, []byte("*RST")); err != nil {
		t.Fatal(err)
	}
	_, err = p.Query(background, []byte("FETC?"))
	wantKind(t, err, link.ErrTimeout)
	wantKind(t, p.Write(background, []byte("X")), link.ErrDirty)
	_, err = p.Read(background)
	wantKind(t, err, link.ErrDirty)
	if err := p.Clear(background); err != nil {
		t.Fatal(err)
	}
	if answer, err := p.Query(background, []byte("FETC?")); err != nil || string(answer) != "1\n2" {
		t.Fatalf("answer %q, %v", answer, err)
	}
	wantKind(t, p.Write(background, []byte("X")), link.ErrDisconnected)
	wantKind(t, p.Write(background, []byte("X")), link.ErrDisconnected)
	wantKind(t, p.Clear(background), link.ErrDisconnected)
	if err := p.Clear(background); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(p.Close(), p.Close()); err != nil {
		t.Fatal(err)
	}
	wantKind(t, p.Clear(background), link.ErrClosed)
	ended, cancel := context.WithCancel(background)
	cancel()
	wantKind(t, NewPlayback(t, address, nil).Write(ended, []byte("X")), link.ErrCancelled)
}

func wantKind(t *testing.T, err, kind error) {
	t.Helper()
	var named *link.Error
	if !errors.As(err, &named) || named.Kind != kind || named.Address != address {
		t.Fatalf("error %v; want kind %q and the address", err, kind)
	}
}

func TestPlaybackFailsTheTest(t *testing.T) {
	tests := []struct {
		name string
		run  func(p *Playback)
		says string
	}{
		{"one byte differs", func(p *Playback) { p.Write(background, []byte("*IDM?")) }, `byte 3 differs`},
		{"one byte more", func(p *Playback) { p.Write(background, []byte("*IDN?\n")) }, `byte 5 differs`},
		{"read before write", func(p *Playback) { p.Read(background) }, "step 1: read"},
		{"clear that is not in the script", func(p *Playback) { p.Clear(background) }, "step 1: clear"},
		{"too little", func(p *Playback) { p.Write(background, []byte("*IDN?")) }, `1 of 2 steps of the script were not taken; the next is < "A"`},
		{"too much", func(p *Playback) {
			p.Query(background, []byte("*IDN?"))
			p.Write(background, []byte("MORE"))
			p.Write(background, []byte("AND MORE"))
		}, `write "MORE" after the end`},
	}
	for _, test := range tests {
		var f fakeT
		test.run(NewPlayback(&f, address, Ask("*IDN?", "A")))
		if got := f.end(); !strings.Contains(got, test.says) || len(f.failures) != 1 {
			t.Errorf("%s: failed with %q; want one failure that says %q", test.name, got, test.says)
		}
	}
}

// What was recorded from a playback must be the script of it.
func TestRecordWritesWhatPlaybackReads(t *testing.T) {
	script, err := ParseScript("> \"A?\"\n< \"1\"\n> \"B\"\n< ! timeout\nclear ! disconnected\nclear\n> \"C?\"\n< ! protocol\nclear\n> \"D\" ! cancelled\nclear\n")
	if err != nil {
		t.Fatal(err)
	}
	r := NewRecord(NewPlayback(t, address, script))
	r.Query(background, []byte("A?"))
	r.Write(background, []byte("B"))
	r.Read(background)
	r.Write(background, []byte("refused"))
	r.Query(background, []byte("refused"))
	r.Clear(background)
	r.Read(background)
	r.Clear(background)
	r.Query(background, []byte("C?"))
	r.Clear(background)
	r.Query(background, []byte("D"))
	r.Clear(background)
	ended, cancel := context.WithCancel(background)
	cancel()
	r.Write(ended, []byte("refused"))
	r.Close()
	r.Write(background, []byte("refused"))
	if got := r.Script().String(); got != script.String() {
		t.Errorf("recorded\n%swant\n%s", got, script)
	}
}

func TestParseScriptSaysWhatIsWrong(t *testing.T) {
	for text, says := range map[string]string{
		"\nwrite":              "line 2",
		"> A":                  "string in quotes",
		">":                    "message is missing",
		"<":                    "either an answer or an error",
		"< \"a\" ! timeout":    "either an answer or an error",
		"< ! late":             "no kind of error",
		"clear \"a\"":          "string in quotes",
		"> \"A\" \"B\"":        "string in quotes",
		"> \"A\" ! busy clear": "no kind of error",
		"> ! timeout":          "message is missing",
	} {
		if _, err := ParseScript(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("ParseScript(%q): %v; want an error that says %q", text, err, says)
		}
	}
}

func FuzzParseScript(f *testing.F) {
	f.Add("> \"*IDN?\"\n< \"A\\xff\"\nclear\n< ! timeout\n> `B` ! busy\n# x")
	f.Fuzz(func(t *testing.T, text string) {
		script, err := ParseScript(text)
		if err != nil {
			return
		}
		again, err := ParseScript(script.String())
		if err != nil || again.String() != script.String() {
			t.Fatalf("%q came back as %q, %v", script, again, err)
		}
	})
}
