package history_test

import (
	"fmt"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/history"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

const (
	found    = runner.AsFound
	repaired = runner.AfterRepair
	left     = runner.AsLeft
)

var first = time.Date(2020, 3, 1, 9, 0, 0, 0, time.UTC)

func after(days float64) time.Time { return first.Add(time.Duration(days * 24 * float64(time.Hour))) }

// built makes a record of a unit whose timebase is off by y, with two points on
// its own timebase: readings are low by y. Uncertainties are for k = 2.
func built(days float64, kind runner.Kind, y float64, change ...func(*record.Record)) record.Record {
	at := after(days)
	id := fmt.Sprintf("r-%06.1f-%s", days, kind)
	r := record.Record{Schema: record.Schema, ID: id, Created: at, Maker: "Invented Instruments", Model: "Test Counter", Procedure: record.NewSource("p.toml", "P", "1", []byte("p")),
		Job: procedures.Job{Serial: "S-1", Asset: "A-1"}, Run: runner.Result{ID: id, Kind: kind, Started: at, Finished: at, Complete: true, Statement: runner.WithinAll,
			Topology: map[string]procedures.Topology{"G": {TimebaseTested: true}}}}
	r.Run.Points = []runner.PointResult{point("B-001", "100 MHz", -y*1e8, 2), point("B-002", "1 GHz", -y*1e9, 10)}
	for _, do := range change {
		do(&r)
	}
	return r
}

// point is one with an error in Hz, its expanded uncertainty, and a limit of 1 ppm.
func point(id, frequency string, e, u float64) runner.PointResult {
	f := quantity.MustParse[quantity.Hertz](frequency)
	limit := f.Exact().Mul(quantity.ExactDecimal(1e-6))
	p := runner.PointResult{Point: procedures.Point{ID: id, Input: "B", Frequency: f, Source: "G", Levels: procedures.Levels{Input: quantity.MustLevel("-14 dBm")}}}
	p.Counted, p.Error, p.Reference = 1, quantity.ExactDecimal(e), f.Exact()
	p.Mean = p.Reference.Add(p.Error)
	p.Limit = accuracy.Limit{Total: limit, Terms: []accuracy.Term{{Name: accuracy.TimebaseTerm, Hz: limit}}}
	p.Reported = uncertainty.Result{Standard: u / 2, CoverageFactor: 2, Expanded: u}
	p.Decision = p.Reported
	p.Verdict = decision.Verdict{Word: decision.Pass}
	if p.Error.Abs().Cmp(limit) > 0 {
		p.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
	}
	return p
}

func series(t testing.TB, h history.History, name string) history.Series {
	t.Helper()
	s, err := h.Of(name)
	require.NoError(t, err)
	require.NotNil(t, s, name)
	return *s
}

// stretchesOf lists the stretch of each value.
func stretchesOf(s history.Series) (list []int) {
	for _, v := range s.Values {
		list = append(list, v.Stretch)
	}
	return list
}

func of(list ...record.Record) []record.Record { return list }
