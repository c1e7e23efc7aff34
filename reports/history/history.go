// Package history says what became of a unit over the years: [New] makes of its
// records, and of results imported from elsewhere, the drift of its timebase and
// of each point with a prediction, the date at which a limit will probably be
// crossed, and a recommended interval; [Compare] sets two records side by side.
//
// It is pure. As-found and as-left are never merged: drift is what happened from
// the as-left of one calibration to the as-found of the next. Where an as-found
// run serves as both, because nothing was altered, the stretch goes on; each
// as-left or after-repair run, and an adjustment elsewhere that a job states,
// begins a new one. How all this is shown is the business of cmd, how it is
// drawn that of reports/chart.
package history

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/imported"
	"bandproof/reports/record"
	"bandproof/runner"
)

// Schema names the version of the JSON shape of a [History].
const Schema = "bandproof history 1"

// Coverage of the prediction intervals.
const Coverage = uncertainty.Coverage

// Reach bounds predictions: none is made farther beyond the newest result than
// so many times the time that the results span.
const Reach = 2

// fewest intervals, from one as-left to the next as-found, that a drift is
// fitted to.
const fewest = 3

// Imported is an imported result with the name of its file.
type Imported struct {
	imported.Result
	File string
}

// History is that of one unit.
type History struct {
	Schema   string         `json:"schema"`
	Serial   string         `json:"serial"`
	Asset    string         `json:"asset,omitempty"`
	Maker    string         `json:"maker,omitempty"`
	Model    string         `json:"model,omitempty"`
	Runs     []Run          `json:"runs"` // in order of time
	LeftOut  []string       `json:"left_out,omitempty"`
	Notes    []string       `json:"notes,omitempty"`
	Series   []Series       `json:"series"`
	Interval Recommendation `json:"recommended_interval"`
	Invented bool           `json:"invented,omitempty"`
}

// Run is one run of the unit, or one that was imported.
type Run struct {
	At        time.Time        `json:"at"`
	Kind      runner.Kind      `json:"run"`
	Record    string           `json:"record,omitempty"`   // id
	Imported  string           `json:"imported,omitempty"` // file, laboratory, certificate
	Statement runner.Statement `json:"statement,omitempty"`
	// Added: single points only, which enter no drift.
	Added bool   `json:"added,omitempty"`
	Note  string `json:"note,omitempty"`

	failed   bool
	adjusted time.Time // date of the last adjustment of the timebase, as the job states it
	// epoch and timebase count the stretches, of all results and of those that
	// an adjustment of the timebase touches.
	epoch, timebase int
}

// Series is one thing that was found again and again.
type Series struct {
	Name string `json:"name"` // "timebase", "B 1 GHz"
	What string `json:"what"`
	// Unit of the numbers: "1" (relative), "Hz", "dBm", …
	Unit   string  `json:"unit"`
	Values []Value `json:"values"` // in order of time
	// Intervals are what happened from one as-left to the next as-found.
	Intervals []Interval `json:"intervals"`
	Drift     *Drift     `json:"drift,omitempty"`
	// TooFew says why there is no drift.
	TooFew string `json:"too_few,omitempty"`

	timebase bool // an adjustment of the timebase touches it
	place    place
}

// Value is one result.
type Value struct {
	At       time.Time      `json:"at"`
	Run      runner.Kind    `json:"run"`
	Record   string         `json:"record,omitempty"`
	Imported string         `json:"imported,omitempty"`
	Found    quantity.Exact `json:"found"`
	// Expanded uncertainty as reported, of an imported result for k = 2; 0: none
	// is stated.
	Expanded  float64          `json:"expanded_uncertainty,omitempty"`
	Standard  float64          `json:"standard_uncertainty,omitempty"`
	Limit     *quantity.Exact  `json:"limit,omitempty"`
	Side      runner.Side      `json:"side,omitempty"`
	GuardBand quantity.Exact   `json:"guard_band,omitzero"`
	Verdict   decision.Verdict `json:"verdict,omitzero"`
	// From says what a value of the timebase was taken from.
	From string `json:"from,omitempty"`
	// Stretch that it belongs to, from 0; −1 where it enters no drift, and Why.
	Stretch int    `json:"stretch"`
	Why     string `json:"why,omitempty"`

	run int // index in Runs
	// share is the part of the uncertainty that the limit does not allow for
	// already, 1 at most: without the unit's own count.
	share float64
}

// New makes the history of the unit with a serial number. The order of records
// and results does not matter; records that were corrected or withdrawn are left
// out and named. A record of another unit counts only as what it corrects.
func New(serial string, records []record.Record, results []Imported) History {
	h := History{Schema: Schema, Serial: serial, Runs: []Run{}, Series: []Series{}}
	c := &collector{h: &h, at: map[string]int{}}
	differ := map[string]map[string]bool{"procedure": {}, "model": {}}
	for _, r := range h.inForce(records) {
		if r.Job.Serial == serial {
			c.record(r)
			differ["procedure"][strings.TrimSpace(r.Procedure.Name+" "+r.Procedure.Revision)] = true
			differ["model"][strings.TrimSpace(r.Maker+" "+r.Model)] = true
		}
	}
	for _, what := range []string{"model", "procedure"} {
		if names := slices.Sorted(maps.Keys(differ[what])); len(names) > 1 {
			h.Notes = append(h.Notes, fmt.Sprintf("the records are not all of one %s: %s", what, strings.Join(names, "; ")))
		}
	}
	c.results(results)
	h.order()
	h.stretches()
	for k := range h.Series {
		h.Series[k].fit(h.Runs)
	}
	h.recommend()
	return h
}

// order sorts runs and values by time; at the same time as-found comes first.
func (h *History) order() {
	rank := map[runner.Kind]int{runner.AsFound: 0, runner.AfterRepair: 1, runner.AsLeft: 2}
	index := make([]int, len(h.Runs))
	for k := range index {
		index[k] = k
	}
	slices.SortStableFunc(index, func(a, b int) int {
		x, y := h.Runs[a], h.Runs[b]
		return cmp.Or(x.At.Compare(y.At), cmp.Compare(rank[x.Kind], rank[y.Kind]), cmp.Compare(x.Record, y.Record), cmp.Compare(x.Imported, y.Imported))
	})
	runs, place := make([]Run, len(index)), make([]int, len(index))
	for k, was := range index {
		runs[k], place[was] = h.Runs[was], k
	}
	h.Runs = runs
	for s := range h.Series {
		values := h.Series[s].Values
		for k := range values {
			values[k].run = place[values[k].run]
		}
		slices.SortStableFunc(values, func(a, b Value) int { return cmp.Compare(a.run, b.run) })
	}
	slices.SortStableFunc(h.Series, func(a, b Series) int { return a.place.compare(b.place) })
	h.name()
}

// place is where a series stands in lists, and what tells it from another of the
// same name.
type place struct {
	kind      int // 0 timebase, 1 point, 2 another measurement
	input     string
	frequency float64
	level     string
	own       bool
	row       string
}

func (p place) compare(q place) int {
	if p.own != q.own && p.kind == q.kind && p.input == q.input && p.frequency == q.frequency {
		return cmp.Compare(map[bool]int{true: 0, false: 1}[p.own], map[bool]int{true: 0, false: 1}[q.own])
	}
	return cmp.Or(cmp.Compare(p.kind, q.kind), cmp.Compare(p.input, q.input), cmp.Compare(p.frequency, q.frequency), cmp.Compare(p.row, q.row), cmp.Compare(p.level, q.level))
}

// name tells series of the same name apart by level and reference.
func (h *History) name() {
	for _, more := range []func(place) string{func(p place) string { return p.level }, func(p place) string {
		if p.own {
			return "own timebase"
		}
		return "external reference"
	}} {
		texts := map[string]map[string]bool{} // by name
		for _, s := range h.Series {
			if texts[s.Name] == nil {
				texts[s.Name] = map[string]bool{}
			}
			texts[s.Name][more(s.place)] = true
		}
		for k, s := range h.Series {
			if text := more(s.place); len(texts[s.Name]) > 1 && text != "" {
				h.Series[k].Name += ", " + text
			}
		}
	}
}

// Of returns a series by its name, or by a beginning of it that only one has;
// for no name the timebase, else the first that has a drift, else the first. nil
// where there is none at all.
func (h History) Of(name string) (*Series, error) {
	if name == "" {
		for _, good := range []func(Series) bool{func(s Series) bool { return s.Name == Timebase }, func(s Series) bool { return s.Drift != nil }, func(Series) bool { return true }} {
			if k := slices.IndexFunc(h.Series, good); k >= 0 {
				return &h.Series[k], nil
			}
		}
		return nil, nil
	}
	found := -1
	for k, s := range h.Series {
		switch {
		case s.Name == name:
			return &h.Series[k], nil
		case !strings.HasPrefix(s.Name, name):
		case found >= 0:
			return nil, fmt.Errorf("%q begins several names, %q and %q among them; give more of it", name, h.Series[found].Name, s.Name)
		default:
			found = k
		}
	}
	if found < 0 {
		first := "none: the unit has no result"
		if len(h.Series) > 0 {
			first = h.Series[len(h.Series)-1].Name
		}
		return nil, fmt.Errorf("there is no result %q; names are such as %q", name, first)
	}
	return &h.Series[found], nil
}

// Line is the fitted drift over one stretch.
type Line struct {
	From, To time.Time
	A, B     float64 // values at both ends
}

// Lines are what was fitted, one for each stretch that lasted.
func (s Series) Lines() (list []Line) {
	if s.Drift == nil {
		return nil
	}
	ends := map[int]*Line{}
	for _, v := range s.Values {
		if v.Stretch < 0 {
			continue
		}
		if l := ends[v.Stretch]; l != nil {
			l.To = v.At
			continue
		}
		ends[v.Stretch] = &Line{From: v.At, To: v.At}
	}
	for k := range len(ends) {
		l := ends[k]
		l.A, _ = s.Drift.fit.At(k, days(s.Drift.from, l.From))
		l.B, _ = s.Drift.fit.At(k, days(s.Drift.from, l.To))
		if l.To.After(l.From) {
			list = append(list, *l)
		}
	}
	return list
}
