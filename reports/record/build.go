package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"runtime/debug"
	"time"

	"bandproof/procedures"
	"bandproof/runner"
)

// Version of the program: that of the module where it was built as one, else
// "development" with the commit it was built from, where that is known.
var Version = version(debug.ReadBuildInfo())

func version(info *debug.BuildInfo, ok bool) string {
	if !ok {
		return "development"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	commit, changed := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			commit = " " + s.Value[:min(len(s.Value), 12)]
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = ", changed"
		}
	}
	return "development" + commit + changed
}

// NewSource keeps a file whole, with its hash.
func NewSource(file, name, revision string, text []byte) Source {
	sum := sha256.Sum256(text)
	return Source{file, name, revision, hex.EncodeToString(sum[:]), string(text)}
}

// Parts is what a record is made from.
type Parts struct {
	ID, Follows   string
	Now           time.Time
	Job           procedures.Job
	Procedure     *procedures.Procedure
	ProcedureFile Source
	Bench         *procedures.Bench
	BenchFile     Source
	Run           runner.Result
	Logo          *Logo
	Invented      bool
	// Place is where the bench stands, for the zone of its times; UTC unless stated.
	Place *time.Location
}

// New makes the record of a run.
func New(p Parts) Record {
	job := p.Job
	if job.Serial == "" && p.Run.Unit.Stated {
		job.Serial = p.Run.Unit.Serial
	}
	taken := p.Run.Finished // a record may be made long after its run
	if taken.IsZero() {
		taken = p.Now
	}
	r := Record{Schema: Schema, ID: p.ID, Follows: p.Follows, Created: p.Now, Zone: zoneAt(p.Run.Started, p.Place), Logo: p.Logo,
		Program: Program{"bandproof", Version, runtime.Version()}, Job: job, Laboratory: p.Bench.Laboratory,
		Maker: p.Procedure.Unit.Maker, Model: p.Procedure.Unit.Model, Procedure: p.ProcedureFile, Bench: p.BenchFile,
		Standards: standards(p.Bench, p.Run, taken), Cautions: append(UsualCautions(), p.Procedure.Cautions...), Run: p.Run, Invented: p.Invented}
	toUTC(reflect.ValueOf(&r).Elem())
	return r
}

// standards lists the sources and references that the results rest on.
func standards(b *procedures.Bench, run runner.Result, now time.Time) []Standard {
	used := map[string]bool{}
	for _, p := range run.Points {
		for look := &p; look != nil; look = look.Other {
			for _, name := range look.Standards {
				used[name] = true
			}
		}
	}
	for _, o := range run.Outcomes {
		for _, name := range o.Standards {
			used[name] = true
		}
	}
	if run.WarmUp != nil {
		for _, name := range run.WarmUp.Standards {
			used[name] = true
		}
	}
	var list []Standard
	for _, r := range b.References {
		if used[r.Name] {
			stated := fmt.Sprintf("offset %s, U = %s (k = 2)", r.Offset, r.Uncertainty)
			if r.Drift.Sign() > 0 {
				stated = fmt.Sprintf("offset %s, U = %s (k = 2), drift up to %s a day", r.Offset, r.Uncertainty, r.Drift)
			}
			list = append(list, Standard{r.Name, "reference", r.Standard, stated, r.Overdue(now)})
		}
	}
	for _, s := range b.Sources {
		if used[s.Name] {
			stated := fmt.Sprintf("locked to %s, level within %s", s.Reference, s.LevelUncertainty)
			if s.OwnTimebase != nil && s.Reference == "own" {
				stated = fmt.Sprintf("own timebase, accuracy %s, level within %s", s.OwnTimebase, s.LevelUncertainty)
			}
			list = append(list, Standard{s.Name, "source", s.Standard, stated, s.Overdue(now)})
		}
	}
	return append(list, aids(b, run, used, now)...)
}

// aids lists what else the results rest on: power meters and the monitor where
// a point used them, thermometers that told the conditions.
func aids(b *procedures.Bench, run runner.Result, used map[string]bool, now time.Time) (list []Standard) {
	for _, m := range b.PowerMeters {
		if used[m.Name] {
			list = append(list, Standard{m.Name, "power meter", m.Standard, fmt.Sprintf("level, U = %s (k = 2)", m.Uncertainty), m.Overdue(now)})
		}
	}
	if m := b.Monitor; m != nil && used[procedures.MonitorName] {
		stated := fmt.Sprintf("one count %s at a gate of %s, runs from %s", m.Resolution, m.Gate, m.Reference)
		if m.OwnTimebase != nil && m.Reference == "own" {
			stated = fmt.Sprintf("one count %s at a gate of %s, own timebase, accuracy %s", m.Resolution, m.Gate, m.OwnTimebase)
		}
		if m.SharesReference(b) {
			stated += ", as source " + m.Source + " does: shows nothing of that reference"
		}
		list = append(list, Standard{procedures.MonitorName, "monitor", m.Standard, stated, m.Overdue(now)})
	}
	told := map[string]bool{}
	for _, a := range run.Ambient {
		told[a.Thermometer] = told[a.Thermometer] || a.Failed == ""
	}
	for _, t := range b.Thermometers {
		if told[t.Name] {
			list = append(list, Standard{t.Name, "thermometer", t.Standard, "ambient conditions", t.Overdue(now)})
		}
	}
	return list
}

// UsualCautions are printed wherever a run starts and on each data sheet. They
// are reminders; local codes and licensed practice come first.
func UsualCautions() []string {
	return []string{
		"Local codes, site rules and qualified or licensed persons come before anything said here.",
		"Mains: unplug before opening; work on a live open instrument only if qualified, under local rules, never alone.",
		"Stored energy: capacitors in supplies and display tubes stay charged; wait, discharge by the maker's method, measure zero.",
		"Inputs: stay below the damage level of each input; RF off while a cable is moved; begin at low level.",
		"ESD: strap and mat when the instrument is open, through the safety resistor and never on a live chassis; discharge cables first.",
		"Hot parts and fumes: soldering needs extraction and eye protection; heatsinks and oven oscillators burn.",
		"Heavy units: two persons or a lifting aid; lock rack slides.",
	}
}

// Encode writes the record as canonical JSON (RFC 8785).
func (r Record) Encode() ([]byte, error) {
	text, err := canonical(r)
	if err != nil {
		return nil, fmt.Errorf("record %s: %w", r.ID, err)
	}
	return text, nil
}

// Decode reads a record and refuses what is none, is of a version that it does
// not know, or does not pass Check.
func Decode(data []byte) (Record, error) {
	var r Record
	wrong := strict(data, &r)
	if wrong != nil || !known(r.Schema) { // of what is right only one pass is made: it may be large
		var head struct {
			Schema string `json:"schema"`
		}
		if err := json.Unmarshal(data, &head); err != nil {
			return Record{}, fmt.Errorf("not a record: %w", err)
		}
		if !known(head.Schema) {
			return Record{}, fmt.Errorf("schema is %q; this program reads %q and %q", head.Schema, Schema, firstSchema)
		}
		return Record{}, fmt.Errorf("record: %w", wrong)
	}
	if err := r.Check(); err != nil {
		return Record{}, fmt.Errorf("record %s is damaged or was edited: %w", r.ID, err)
	}
	return r, nil
}

func known(schema string) bool { return schema == Schema || schema == firstSchema }

// strict reads one JSON value that has no other members than those of v.
func strict(data []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows after its end")
	}
	return nil
}
