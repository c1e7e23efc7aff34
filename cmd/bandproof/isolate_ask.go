package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"bandproof/drivers/manual"
	"bandproof/reports/record"
	"bandproof/runner"
	"bandproof/runner/isolate"
)

// looking is a search under way: one look after the other is proposed, and what
// the person sees is kept at once.
type looking struct {
	t    *terminal
	x    *isolate.Case
	keep *notebook
	r    record.Record
	who  person

	cautioned bool
	instead   string // the test point that was chosen in place of the best
	wrong     string // with the last answer
}

var errQuit = errors.New("quit")

// loop goes on until the stage is found or no look tells more. Whatever ends it
// early, what was entered is kept.
func (l *looking) loop(ctx context.Context) error {
	l.t.doubts(l.x.Doubts)
	for {
		report, err := l.x.Report(ctx, subject(l.r), others(l.r))
		if err != nil {
			return l.ended(ctx, err)
		}
		m := report.Model
		if l.wrong == "" {
			l.t.standing(m)
		}
		if m.Next == nil {
			l.t.next(m, holdFiles(l.r))
			if m.Found != "" {
				l.t.paragraph("", "  ", fmt.Sprintf("Once it is mended, keep what it was: --found \"%s: …\"", m.Found))
			}
			return nil
		}
		if err := l.step(ctx, m); err != nil {
			return l.ended(ctx, err)
		}
	}
}

// ended tells that the search goes on another time.
func (l *looking) ended(ctx context.Context, err error) error {
	if !errors.Is(err, errQuit) && !errors.Is(err, runner.ErrNoOperator) && ctx.Err() == nil {
		return err
	}
	l.t.note("what was entered is kept; the same command goes on with it")
	return nil
}

// step proposes a look and takes one answer.
func (l *looking) step(ctx context.Context, m *isolate.Weighed) error {
	p, err := l.proposed(ctx, m)
	if err != nil {
		return err
	}
	if p.Access != "connector" && !l.cautioned {
		if err := l.caution(ctx, m.Cautions); err != nil {
			return err
		}
	}
	if l.wrong == "" {
		l.t.print("")
		l.t.proposal(p, holdFiles(l.r))
		l.t.choices(p)
	}
	q := manual.Question{Instrument: p.TestPoint, Do: "what is there?", Wrong: l.wrong,
		Answer: "number, frequency or word; other, done, back, why, found, quit"}
	l.wrong = ""
	text, err := l.who.Ask(ctx, q)
	if err != nil {
		return err
	}
	return l.take(ctx, m, p, text)
}

// proposed is the look that is asked for next.
func (l *looking) proposed(ctx context.Context, m *isolate.Weighed) (isolate.Proposal, error) {
	if l.instead == "" {
		return *m.Next, nil
	}
	list, err := l.x.Proposals(ctx)
	for _, p := range list {
		if p.TestPoint == l.instead {
			return p, nil
		}
	}
	return *m.Next, err
}

// caution has the cautions acknowledged before anything inside is proposed.
func (l *looking) caution(ctx context.Context, list []string) error {
	l.t.cautionsInside(list)
	yes, err := l.who.Confirm(ctx, "Have you read this, and may you do this work where you are?")
	switch {
	case err != nil:
		return err
	case !yes:
		l.t.note("   then nothing inside is proposed; pass the unit, with this report, to somebody who may")
		return errQuit
	}
	l.cautioned = true
	return nil
}

// take does what was typed. A mistake is told with the next question.
func (l *looking) take(ctx context.Context, m *isolate.Weighed, p isolate.Proposal, text string) error {
	word, rest, _ := strings.Cut(text, " ")
	switch strings.ToLower(word) {
	case "":
		l.wrong = "nothing was typed; what do you see?"
		return nil
	case "quit", "q":
		return errQuit
	case "why":
		l.t.reasons(m)
		return nil
	case "other":
		return l.other(ctx)
	case "back":
		return l.back(ctx)
	case "done":
		if rest == "" {
			rest = p.Needs
		}
		e, err := l.x.Prepare(rest)
		return l.enter(ctx, e, err)
	case "found":
		e, err := l.x.Close(rest)
		return l.enter(ctx, e, err)
	}
	if k, err := strconv.Atoi(text); err == nil {
		if k < 1 || k > len(p.Answers) {
			l.wrong = fmt.Sprintf("%d is no number of the list; they go from 1 to %d", k, len(p.Answers))
			return nil
		}
		text = isolate.AtTestPoint(p.Answers[k-1].Kind)
	}
	if strings.Contains(text, ":") {
		e, err := l.x.Saw(ctx, text)
		return l.enter(ctx, e, err)
	}
	e, err := l.x.Network.Answer(p.Probe, text)
	return l.enter(ctx, e, err)
}

// enter keeps an entry before anything else is asked.
func (l *looking) enter(ctx context.Context, e isolate.Entry, wrong error) error {
	if wrong != nil {
		l.wrong = wrong.Error()
		return nil
	}
	e = l.keep.entry(e)
	if err := l.keep.keep(ctx, e); err != nil {
		return err
	}
	l.x.Add(e)
	if e.Kind != isolate.Prepared {
		l.instead = ""
	}
	l.t.note("   %s: %s", map[bool]string{false: "kept", true: "taken back"}[e.Kind == isolate.Revoked], e.Text)
	return nil
}

// back revokes what was entered last.
func (l *looking) back(ctx context.Context) error {
	list := isolate.Number(l.x.Entries)
	for k := len(list) - 1; k >= 0; k-- {
		if !list[k].Gone {
			e, err := isolate.Revoke(l.x.Entries, list[k].Number)
			return l.enter(ctx, e, err)
		}
	}
	l.wrong = "nothing was entered that could be taken back"
	return nil
}

// other offers the best look at each other test point.
func (l *looking) other(ctx context.Context) error {
	list, err := l.x.Proposals(ctx)
	if err != nil {
		return err
	}
	list = isolate.OnePerPoint(list)
	l.t.offered(list)
	text, err := l.who.Ask(ctx, manual.Question{Instrument: "test point", Do: "which one?", Answer: "number or name; Enter goes back"})
	if err != nil {
		return err
	}
	for k := range list {
		if text == strconv.Itoa(k+1) || strings.EqualFold(text, list[k].TestPoint) {
			l.instead = list[k].TestPoint
			return nil
		}
	}
	if text != "" {
		l.wrong = fmt.Sprintf("%q is none of the list", text)
	}
	return nil
}
