package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"bandproof/reports/record"
	"bandproof/runner"

	"golang.org/x/term"
)

// liveView shows readings as they come: on a terminal in one line that is drawn
// anew, else, and where the terminal has no cursor to move, line by line.
type liveView struct {
	t     *terminal
	json  bool
	draws bool
}

func (t *terminal) live1(asJSON bool) *liveView {
	return &liveView{t: t, json: asJSON, draws: t.live && !asJSON && os.Getenv("TERM") != "dumb"}
}

// liveJSON is one reading as a line of JSON.
type liveJSON struct {
	Schema   string   `json:"schema"`
	At       string   `json:"at"`
	Reading  string   `json:"reading"`
	Error    *string  `json:"error_hz"`
	PPM      *float64 `json:"relative_error_ppm"`
	Trend    *float64 `json:"trend_ppm_per_min"`
	TrendU   *float64 `json:"trend_expanded_uncertainty_ppm_per_min"`
	Level    string   `json:"level"`
	Measured bool     `json:"level_measured"`
	Bench    string   `json:"bench,omitempty"`
	Left     float64  `json:"left_s"`
}

func (v *liveView) show(l runner.Live) {
	switch {
	case v.json:
		v.line(l)
	case v.draws:
		_, _ = fmt.Fprintf(v.t.err, "\r%s\x1b[K", liveLine(l, v.t.target, v.t.width()-1))
		v.t.drawn = true
	default:
		v.t.print("%s", liveLine(l, v.t.target, 100))
	}
}

func (v *liveView) line(l runner.Live) {
	x := liveJSON{Schema: "bandproof live 1", At: l.At.UTC().Format(time.RFC3339Nano), Reading: l.Text, Level: l.Level.String(), Measured: l.Measured, Bench: string(l.Bench), Left: l.Left.Seconds()}
	if l.Good {
		hz := l.Error.String()
		x.Error, x.PPM = &hz, &l.PPM
	}
	if l.Trend != nil {
		x.Trend, x.TrendU = &l.Trend.Slope, &l.Trend.U
	}
	if text, err := json.Marshal(x); err == nil {
		v.t.print("%s", text)
	}
}

// end leaves the line that was drawn last where it is.
func (v *liveView) end() {
	if v.t.drawn {
		_, _ = fmt.Fprintln(v.t.err)
		v.t.drawn = false
	}
}

// wipe takes the reading that is drawn anew away, so that a line can stand there.
func (t *terminal) wipe() {
	if t.drawn {
		_, _ = fmt.Fprint(t.err, "\r\x1b[K")
		t.drawn = false
	}
}

// Says implements runner.Watcher.
func (v *liveView) Says(text string) { v.t.note("%s", text) }

// Progress implements runner.Watcher; there is none.
func (v *liveView) Progress(int, int, time.Duration, runner.PointResult) {}

// Measured implements runner.Watcher; nothing is.
func (v *liveView) Measured(runner.Outcome) {}

// width of the terminal; 80 where it does not tell.
func (t *terminal) width() int {
	if f, ok := t.err.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			return w
		}
	}
	return 80
}

// liveLine lays one reading out in at most width characters. What matters least
// is left out first: level, time left, hertz, trend, bar.
func liveLine(l runner.Live, target float64, width int) string {
	if !l.Good {
		why := "no count"
		if l.Bench != "" {
			why = string(l.Bench)
		}
		return clipped(fmt.Sprintf("%s  %s left", why, clock(l.Left)), width)
	}
	ppm := fmt.Sprintf("%+.*f ppm", ppmPlaces(l), l.PPM)
	trend := "trend: wait"
	if l.Trend != nil {
		trend = fmt.Sprintf("%+.*f ppm/min", ppmPlaces(l), l.Trend.Slope)
		if math.Abs(l.Trend.Slope) <= l.Trend.U {
			trend = "steady"
		}
	}
	level := l.Level.String()
	if l.Measured {
		level += " measured"
	}
	left := clock(l.Left) + " left"
	limit := l.Limit.Float() / l.Expected.Float() * 1e6
	for _, parts := range [][]string{
		{ppm, bar1, pad(trend, 16), signed(l.Error.Fixed(l.Places)) + " Hz", left, level},
		{ppm, bar1, pad(trend, 16), signed(l.Error.Fixed(l.Places)) + " Hz", left},
		{ppm, bar1, pad(trend, 16), signed(l.Error.Fixed(l.Places)) + " Hz"},
		{ppm, bar1, trend},
		{ppm, bar1},
	} {
		text := strings.Join(parts, "  ")
		if room := width - utf8.RuneCountInString(text) + len(bar1); room >= leastBar {
			return strings.Replace(text, bar1, drawBar(l.PPM, target, limit, min(room, mostBar)), 1)
		}
	}
	return clipped(ppm, width)
}

const (
	bar1     = "\x00" // stands for the bar until there is room for it
	leastBar = 11
	mostBar  = 41
)

// ppmPlaces are the decimals that show a third of one count or so.
func ppmPlaces(l runner.Live) int {
	count := math.Pow(10, -float64(l.Places)) / l.Expected.Float() * 1e6
	return min(9, max(2, int(math.Ceil(-math.Log10(count)-1e-9))))
}

// drawBar marks the tolerance with [ ], the target with |, the value with O; < or
// > where it lies beyond the end.
func drawBar(value, target, limit float64, width int) string {
	half := 1.25 * math.Max(limit, math.Abs(target))
	if !(half > 0) {
		half = 1
	}
	at := func(x float64) int { return int(math.Round((x + half) / (2 * half) * float64(width-1))) }
	line := []byte(strings.Repeat(".", width))
	for k := at(-limit); k <= at(limit) && limit > 0; k++ {
		line[k] = '-'
	}
	if limit > 0 {
		line[at(-limit)], line[at(limit)] = '[', ']'
	}
	line[at(target)] = '|'
	switch k := at(value); {
	case math.IsNaN(value):
	case value < -half:
		line[0] = '<'
	case value > half:
		line[width-1] = '>'
	default:
		line[k] = 'O'
	}
	return string(line)
}

func clock(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

func pad(text string, n int) string {
	return text + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(text)))
}

func clipped(text string, width int) string {
	r := []rune(text)
	return string(r[:min(len(r), max(width, 1))])
}

// heard gives what was typed since the last reading, without waiting. The end
// of standard input ends nothing: it may be a script's.
func (t *terminal) heard() (runner.Note, bool) {
	t.lines.start()
	select {
	case x, open := <-t.lines.lines:
		if !open {
			return runner.Note{}, false
		}
		text := strings.TrimSpace(x.text)
		if !isTerminal(t.lines.in) {
			x.at = time.Now() // what was written ahead counts when it is its turn
		}
		if text == "q" || text == "Q" {
			return runner.Note{At: x.at, Last: true}, true
		}
		return runner.Note{At: x.at, Text: text}, true
	default:
		return runner.Note{}, false
	}
}

// tried says what one turn of the trimmer has done.
func (t *terminal) tried(n int, x runner.Try) {
	say := func(s *runner.Settled) string {
		if s == nil {
			return "nothing read"
		}
		return fmt.Sprintf("%+.4f ppm", s.PPM)
	}
	line := fmt.Sprintf("try %d: %s before, %s after", n, say(x.Before), say(x.After))
	if x.Note != "" {
		line += " (" + x.Note + ")"
	}
	t.note("%s", line)
}

// held says how a hold ended.
func (t *terminal) held(h runner.Held, asJSON bool, err error) error {
	if asJSON {
		if e := t.jsonLine("bandproof held 1", h); e != nil {
			return e
		}
	} else {
		t.print("hold: %s after %s, %d readings; nothing was judged", h.Ended, since(h.Finished.Sub(h.Started)), h.Readings)
	}
	t.mayBeOn(h)
	return unattended(err)
}

// unattended makes of a person who was needed and not there what it is in a run:
// something that could not be done.
func unattended(err error) error {
	if errors.Is(err, runner.ErrNoOperator) {
		return outcome{exitOpen, err}
	}
	return err
}

func (t *terminal) mayBeOn(h runner.Held) {
	for _, name := range h.RFMayBeOn {
		t.note("CAUTION: RF of source %s may still be ON; switch it off by hand", name)
	}
}

// adjusted says what an adjustment has come to, and what is due.
func (t *terminal) adjusted(a record.Adjustment, h runner.Held, asJSON bool, err error) error {
	if asJSON {
		if e := t.jsonLine("bandproof adjustment 1", a); e != nil {
			return e
		}
	} else {
		t.print("adjustment: %s after %s, %d %s", h.Ended, since(h.Finished.Sub(h.Started)), len(a.Tries), []string{"try", "tries"}[min(1, max(len(a.Tries)-1, 1-len(a.Tries)))])
		t.print("an as-left run is due: bandproof run … --as-left")
	}
	t.mayBeOn(h)
	return unattended(err)
}

// jsonLine writes a result with its schema in one line.
func (t *terminal) jsonLine(schema string, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	t.print("%s", strings.Replace(string(body), "{", fmt.Sprintf("{%q:%q,", "schema", schema), 1))
	return nil
}
