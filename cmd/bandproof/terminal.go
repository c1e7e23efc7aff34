package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"
)

// terminal owns tone and layout of all that a person sees: results go to
// standard output, everything else to standard error. Sentences are lower case
// and short; an error names the thing and what would be right.
type terminal struct {
	out, err io.Writer
	lines    *lineReader
	live     bool                    // standard error is a terminal: draw a bar
	outErr   error                   // the first failure to write a result
	bells    func(event string) bool // which events ring; nil: none
	invited  bool                    // told how to be asked what was put off
	target   float64                 // of an adjustment, ppm: marked on its bar
	drawn    bool                    // the last line is a reading that is drawn anew

	mu    sync.Mutex
	bar   *bar
	steps steps
}

func newTerminal(in io.Reader, out, errOut io.Writer) *terminal {
	t := &terminal{out: out, err: errOut, lines: &lineReader{in: in}}
	t.live = isTerminal(errOut)
	return t
}

// complain writes an error with the program's name before each line.
func (t *terminal) complain(err error) {
	for _, line := range strings.Split(err.Error(), "\n") {
		t.note("bandproof: %s", line)
	}
}

// note writes one line to standard error, above the bar if there is one.
func (t *terminal) note(format string, args ...any) {
	line := visible(fmt.Sprintf(format, args...)) + "\n"
	t.mu.Lock()
	b := t.bar
	t.mu.Unlock()
	if b != nil {
		_, _ = b.progress.Write([]byte(line))
		b.redraw()
		return
	}
	t.wipe()
	_, _ = io.WriteString(t.err, line)
}

// print writes a result to standard output.
func (t *terminal) print(format string, args ...any) {
	_, _ = t.Write([]byte(visible(fmt.Sprintf(format, args...)) + "\n"))
}

// Write writes to standard output and remembers the first failure.
func (t *terminal) Write(p []byte) (int, error) {
	n, err := t.out.Write(p)
	if err != nil && t.outErr == nil {
		t.outErr = err
	}
	return n, err
}

// visible makes control and direction marks in names harmless for a terminal.
func visible(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' || unicode.Is(unicode.Bidi_Control, r) {
			return '\ufffd'
		}
		return r
	}, text)
}

// json writes a result in its documented form.
func (t *terminal) json(v any) error {
	e := json.NewEncoder(t)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

// bar shows how far a run is; it is drawn anew only when something happened,
// so that it never moves while a person types.
type bar struct {
	progress *mpb.Progress
	bar      *mpb.Bar
	refresh  chan any
	mu       sync.Mutex
	text     string
}

func (b *bar) redraw() {
	select {
	case b.refresh <- time.Now():
	case <-time.After(time.Second): // the bar has ended
	}
}

// Begin draws the bar for a run of so many points and tasks; end removes it.
func (t *terminal) begin(points, tasks int) (end func()) {
	t.mu.Lock()
	t.steps = steps{tasks: tasks}
	t.mu.Unlock()
	n := points + tasks
	if !t.live || n == 0 {
		return func() {}
	}
	b := &bar{refresh: make(chan any)}
	b.progress = mpb.New(mpb.WithOutput(t.err), mpb.WithManualRefresh(b.refresh), mpb.WithWidth(40))
	b.bar = b.progress.AddBar(int64(n),
		mpb.PrependDecorators(decor.CountersNoUnit("%d/%d "+stepWords(points, tasks)+" ")),
		mpb.AppendDecorators(decor.Any(func(decor.Statistics) string { b.mu.Lock(); defer b.mu.Unlock(); return b.text })))
	t.mu.Lock()
	t.bar = b
	t.mu.Unlock()
	return func() {
		t.mu.Lock()
		t.bar = nil
		t.mu.Unlock()
		b.bar.Abort(false)
		b.progress.Wait()
	}
}

// Progress implements runner.Watcher.
func (t *terminal) Progress(done, planned int, remaining time.Duration, last runner.PointResult) {
	t.mu.Lock()
	b := t.bar
	t.steps.points = done
	all := t.steps.done()
	t.mu.Unlock()
	line := pointLine(last)
	if b == nil {
		t.note("%3d/%d  %s", done, planned, line)
		return
	}
	b.mu.Lock()
	b.text = fmt.Sprintf(" %s left · %s", short(remaining), line)
	b.mu.Unlock()
	if !last.Verdict.Good() || last.Verdict.Word == decision.ConditionalPass {
		t.note("%s", line)
	}
	b.bar.SetCurrent(int64(all))
	b.redraw()
}

// Says implements runner.Watcher.
func (t *terminal) Says(text string) { t.note("%s", text) }

// pointLine is one point in one line.
func pointLine(p runner.PointResult) string {
	text := fmt.Sprintf("%s %s: %s", p.Point.ID, p.Point.Frequency, p.Verdict)
	if p.Counted > 0 {
		places := decimals(p.Limit.Resolution.Float())
		text += fmt.Sprintf(" (%s Hz, limit ±%s Hz)", signed(p.Error.Fixed(places)), group(p.Limit.Total.Fixed(places)))
	}
	return text
}

// decimals are the places that show one count and no more.
func decimals(q float64) int {
	if !(q > 0) {
		return 3
	}
	return int(math.Max(0, math.Ceil(-math.Log10(q)-1e-9)))
}

// signed shows a sign always.
func signed(number string) string {
	if !strings.HasPrefix(number, "-") {
		number = "+" + number
	}
	return number[:1] + group(number[1:])
}

func short(d time.Duration) string {
	if d > time.Minute {
		return d.Round(time.Minute).String()[:len(d.Round(time.Minute).String())-2]
	}
	return d.Round(time.Second).String()
}

// lineReader reads lines of standard input so that waiting for one can be
// cancelled. Its goroutine lives as long as the process reads input: a read of
// a terminal can't be taken back.
type lineReader struct {
	in    io.Reader
	once  sync.Once
	lines chan line
}

type line struct {
	text string
	at   time.Time
}

func (l *lineReader) start() {
	l.once.Do(func() {
		l.lines = make(chan line, 1000)
		go func() {
			defer close(l.lines)
			s := bufio.NewScanner(l.in)
			for s.Scan() {
				l.lines <- line{s.Text(), time.Now()}
			}
		}()
	})
}

// next returns the next line. Of a terminal, lines typed before the question
// was asked do not count: an Enter too many must not answer a later prompt.
func (l *lineReader) next(ctx context.Context) (string, error) {
	asked := time.Now()
	l.start()
	for {
		select {
		case x, ok := <-l.lines:
			if !ok {
				return "", io.EOF
			}
			if isTerminal(l.in) && x.at.Before(asked) {
				continue
			}
			return x.text, nil
		case <-ctx.Done():
			return "", ctx.Err()
		}
	}
}

func isTerminal(x any) bool {
	f, ok := x.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// person is the operator at the terminal.
type person struct {
	t    *terminal
	name string
}

// Name implements runner.Operator.
func (p person) Name() string {
	name := p.name
	if name == "" {
		name = "the person at the terminal"
	}
	if !isTerminal(p.t.lines.in) {
		name += " (answers from standard input, no terminal)"
	}
	return name
}

// Move implements runner.Operator.
func (p person) Move(ctx context.Context, m runner.Move) error {
	p.attention()
	p.t.note("")
	p.t.note(">> %s", m)
	p.t.note("   caution: %s", m.Caution)
	p.lapse(ctx)
	for {
		p.t.note("   press Enter when the cable is on, or type \"skip\" to leave this input out")
		answer, err := p.ask(ctx)
		if err != nil {
			return err
		}
		switch strings.ToLower(answer) {
		case "", "done":
			return nil
		case "skip":
			return fmt.Errorf("%w: %s, by %s", runner.ErrLeftOut, m.Path, p.Name())
		}
	}
}

// Confirm implements runner.Operator.
func (p person) Confirm(ctx context.Context, question string) (bool, error) {
	p.attention()
	for {
		for k, line := range wrapped(question+" [yes/no]", lineWidth-3) {
			p.t.note("%s%s", []string{">> ", "   "}[min(k, 1)], line)
		}
		p.lapse(ctx)
		answer, err := p.ask(ctx)
		if err != nil {
			return false, err
		}
		switch strings.ToLower(answer) {
		case "y", "yes":
			return true, nil
		case "n", "no":
			return false, nil
		}
		p.t.note("   please answer yes or no")
	}
}

// Text implements runner.Texter.
func (p person) Text(ctx context.Context, question string) (string, error) {
	for k, line := range wrapped(question+" [a text, or Enter for none]", lineWidth-3) {
		p.t.note("%s%s", []string{">> ", "   "}[min(k, 1)], line)
	}
	p.lapse(ctx)
	return p.ask(ctx)
}

// lineWidth is where a line of a question ends.
const lineWidth = 78

// Ask implements manual.Person: what to do and what to type in one line where
// it fits, the danger below it; before it, what looks wrong with the last answer.
func (p person) Ask(ctx context.Context, q manual.Question) (string, error) {
	if q.Wrong != "" {
		for k, line := range wrapped(q.Wrong, lineWidth-6) {
			p.t.note("%s%s", []string{"   ?? ", "      "}[min(k, 1)], line)
		}
	}
	do, answer := fmt.Sprintf(">> %s: %s", q.Instrument, q.Do), "["+q.Answer+"]"
	if utf8.RuneCountInString(do)+1+utf8.RuneCountInString(answer) <= lineWidth {
		p.t.note("%s %s", do, answer)
	} else {
		p.t.note("%s", do)
		for _, line := range wrapped(answer, lineWidth-3) {
			p.t.note("   %s", line)
		}
	}
	if q.Caution != "" {
		p.t.note("   caution: %s", q.Caution)
	}
	p.lapse(ctx)
	return p.ask(ctx)
}

// Tell implements manual.Person.
func (p person) Tell(text string) { p.t.note("   %s", text) }

func (p person) ask(ctx context.Context) (string, error) {
	line, err := p.t.lines.next(ctx)
	if errors.Is(err, io.EOF) {
		return "", fmt.Errorf("%w: standard input has ended", runner.ErrNoOperator)
	}
	return strings.TrimSpace(line), err
}

// nobody is the operator of an unattended run.
type nobody struct{}

func (nobody) Name() string { return "unattended" }

func (nobody) Move(_ context.Context, m runner.Move) error {
	return fmt.Errorf("%w: unattended run, nobody to %s (state \"fixed = true\" for a path that needs no hand)", runner.ErrNoOperator, m)
}

func (nobody) Confirm(context.Context, string) (bool, error) {
	return false, fmt.Errorf("%w: unattended run", runner.ErrNoOperator)
}

// Ask implements manual.Person.
func (nobody) Ask(_ context.Context, q manual.Question) (string, error) {
	return "", fmt.Errorf("%w: unattended run, and %s is worked by hand: %s", runner.ErrNoOperator, q.Instrument, q.Do)
}

func (nobody) Tell(string) {}

// cautions are shown before RF is first switched on.
func (t *terminal) cautions(p *procedures.Procedure, list []string) {
	t.note("cautions:")
	for _, c := range append(list, p.Cautions...) {
		for k, line := range wrapped(c, 76) {
			t.note("%s%s", []string{"  - ", "    "}[min(k, 1)], line)
		}
	}
}

// wrapped breaks a text between words into lines of at most n characters.
func wrapped(text string, n int) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		if k := len(lines) - 1; k >= 0 && len(lines[k])+1+len(word) <= n {
			lines[k] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}

// group sets digits in groups of three, with plain spaces that every terminal
// shows and that can be copied back into a command.
func group(number string) string {
	return strings.NewReplacer("\u202f", " ", "\u2212", "-").Replace(quantity.Group(number))
}
