package main

import (
	"context"
	"time"

	"bandproof/procedures"
	"bandproof/reports/notify"
	"bandproof/runner"
)

// telling is who watches a run: the person at the terminal, with its bell, and
// the receivers of the bench file.
type telling struct {
	*terminal
	away *notify.Notifier
}

// tell begins to tell of a run; what earlier ones left is sent too.
func (w sweep) tell(ctx context.Context, id string) (telling, error) {
	w.terminal.bells = bells(w.files.bench, w.silent)
	o := w.noticeOptions(id)
	for _, err := range notify.Problems(o) {
		w.terminal.note("warning: %v; they wait in the store until that is mended", err)
	}
	n, err := notify.New(ctx, o)
	return telling{w.terminal, n}, err
}

func (w sweep) noticeOptions(id string) notify.Options {
	unit := notify.Unit{Model: w.files.procedure.Unit.Maker + " " + w.files.procedure.Unit.Model, Serial: w.job.Serial, Asset: w.job.Asset}
	return notify.Options{Bench: w.files.bench.Name, Receivers: w.files.bench.Notify, Outbox: w.store.Outbox(), Log: w.log,
		Say:   func(text string) { w.terminal.note("%s", text) },
		About: notify.About{Run: id, Kind: string(w.kind), Procedure: w.files.procedure.Name, Unit: unit, Customer: w.job.Customer, Invented: w.invented}}
}

// Happened implements runner.Herald.
func (x telling) Happened(n runner.Notice) {
	x.away.Happened(n)
	x.terminal.ring(n.Event)
	x.terminal.invite(n.Event)
}

// lastTry is how long the end of a run waits for receivers.
const lastTry = 5 * time.Second

// close says what could not be delivered.
func (x telling) close(t *terminal) {
	left, err := x.away.Close(lastTry)
	t.left(left, err)
}

// left says what waits to be delivered.
func (t *terminal) left(left notify.Left, err error) {
	if err != nil {
		t.note("warning: what waits to be delivered could not be looked up: %v", err)
	}
	for _, err := range left.Lost {
		t.note("warning: %v", err)
	}
	if left.Waiting > 0 {
		t.note("%s to be delivered: the next run sends what waits, or \"bandproof notices send\"", counted(left.Waiting, "notice waits", "notices wait"))
	}
	if left.GivenUp > 0 {
		t.note("%s refused by the receiver; \"bandproof notices\" tells why", counted(left.GivenUp, "notice was", "notices were"))
	}
}

// bells are the events that ring, and whether at all.
func bells(b *procedures.Bench, silent bool) func(event string) bool {
	never := func(string) bool { return false }
	if silent {
		return never
	}
	bell := procedures.Notify{To: procedures.ToBell}
	for _, n := range b.Notify {
		if n.To == procedures.ToBell {
			bell = n
		}
	}
	return bell.Wants
}
