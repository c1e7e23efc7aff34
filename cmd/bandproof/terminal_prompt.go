package main

import (
	"context"

	"bandproof/procedures"
	"bandproof/runner"
)

// lapse says below a question when it lapses, and what happens then.
func (p person) lapse(ctx context.Context) {
	if l, ok := runner.LapseOf(ctx); ok {
		l.At = l.At.Local()
		p.t.note("   %s", l)
	}
}

// attention rings for a question that a person may be far from.
func (p person) attention() {
	p.t.invited = false
	p.t.ring(procedures.PromptWaiting)
}

// Back implements runner.Returner: Enter says that somebody is there.
func (p person) Back() bool { return p.t.lines.typed() }

// typed tells whether a line was typed that no question has asked for. Lines
// that do not come from a terminal are answers, and wait for their questions.
func (l *lineReader) typed() (some bool) {
	if !isTerminal(l.in) {
		return false
	}
	l.start()
	for {
		select {
		case _, ok := <-l.lines:
			if !ok {
				return some
			}
			some = true
		default:
			return some
		}
	}
}

// invite tells a person at a terminal how to be asked what was put off.
func (t *terminal) invite(event string) {
	if event == procedures.InputPutOff && !t.invited && isTerminal(t.lines.in) {
		t.invited = true
		t.note("   press Enter to be asked sooner")
	}
}
