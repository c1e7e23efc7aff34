package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"
	"bandproof/procedures"
	"bandproof/reports/record"
)

// wireLogs are the wire logs that a run writes, none to two.
type wireLogs struct {
	writers []*wirelog.Writer
	held    *heldWriter
	file    *os.File
}

// openWireLogs begins what the flags ask for. Close what it returns after the
// instruments, so that their closing is logged too.
func (w sweep) openWireLogs() (*wireLogs, error) {
	l := &wireLogs{}
	head := wireLogHeader(w.clock.Now(), w.files.named()...)
	if w.wireLogTo != "" {
		f, err := os.OpenFile(w.wireLogTo, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return nil, usage{fmt.Errorf("--wire-log-to: %w; a wire log is written to a new file", err)}
		}
		l.file = f
		l.writers = append(l.writers, wirelog.NewWriter(f, head, wirelog.Options{}))
	}
	if w.wireLog {
		l.held = &heldWriter{ready: make(chan struct{})}
		// Each part is a transaction on disk: few and large ones leave the store to the journal.
		o := wirelog.Options{Every: 5 * time.Second}
		if w.resumed != nil {
			text, err := w.store.ReadWireLog(context.Background(), w.resumed.header.ID)
			o.Continues = err == nil && len(text) > 0
		}
		l.writers = append(l.writers, wirelog.NewWriter(l.held, head, o))
	}
	return l, nil
}

func wireLogHeader(now time.Time, instruments ...wirelog.Instrument) wirelog.Header {
	return wirelog.Header{Program: "bandproof " + record.Version, Begun: now, Instruments: instruments}
}

// log is what the links tell; nil where no log was asked for.
func (l *wireLogs) log() link.WireLog {
	if len(l.writers) == 0 {
		return nil
	}
	var all []link.WireLog
	for _, w := range l.writers {
		all = append(all, w)
	}
	return wirelog.Tee(all...)
}

// keep says where the log that goes with the record is kept.
func (l *wireLogs) keep(to io.Writer) {
	if l.held != nil {
		l.held.release(to)
	}
}

// close ends the logs. A log that is not whole is a warning: the readings are
// kept elsewhere.
func (l *wireLogs) close(t *terminal) {
	l.keep(nil) // nothing is kept of a run that did not begin
	var errs []error
	for _, w := range l.writers {
		errs = append(errs, w.Close())
	}
	if l.file != nil {
		errs = append(errs, l.file.Close())
	}
	if err := errors.Join(errs...); err != nil {
		t.note("warning: %v", err)
	}
}

// heldWriter waits until it is told where to write.
type heldWriter struct {
	ready chan struct{}
	done  bool
	to    io.Writer // set before ready is closed; nil throws away
}

func (h *heldWriter) release(to io.Writer) {
	if !h.done {
		h.done, h.to = true, to
		close(h.ready)
	}
}

func (h *heldWriter) Write(p []byte) (int, error) {
	<-h.ready
	if h.to == nil {
		return len(p), nil
	}
	return h.to.Write(p)
}

// named lists the instruments of the bench file by the names that it gives them.
func (f *files) named() (list []wirelog.Instrument) {
	for name, c := range f.connections() {
		list = append(list, wirelog.Instrument{Name: name, Address: link.LoggedAs(c.Address, c.Via)})
	}
	return list
}

// connections walks the instruments of the bench file that have a link.
func (f *files) connections() iter.Seq2[string, procedures.Connection] {
	return func(yield func(string, procedures.Connection) bool) {
		more := true
		add := func(name string, c procedures.Connection) {
			if more && !c.ByHand() {
				more = yield(name, c)
			}
		}
		add("counter", f.bench.Counter.Connection)
		for _, x := range f.bench.Sources {
			add(x.Name, x.Connection)
		}
		for _, x := range f.bench.Switches {
			add(x.Name, x.Connection)
		}
		for _, x := range f.bench.PowerMeters {
			add(x.Name, x.Connection)
		}
		for _, x := range f.bench.Thermometers {
			add(x.Name, x.Connection)
		}
		if x := f.bench.Monitor; x != nil {
			add(procedures.MonitorName, x.Connection)
		}
	}
}
