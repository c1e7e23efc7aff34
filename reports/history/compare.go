package history

import (
	"fmt"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
	"bandproof/runner"
)

// CompareSchema names the version of the JSON shape of a [Comparison].
const CompareSchema = "bandproof comparison 1"

// Comparison is two records of one unit side by side.
type Comparison struct {
	Schema string   `json:"schema"`
	A      Compared `json:"a"`
	B      Compared `json:"b"`
	// Against says what differs so that the two should not be compared.
	Against []string `json:"against,omitempty"`
	Notes   []string `json:"notes,omitempty"`
	Summary Summary  `json:"summary"`
	Rows    []Change `json:"rows"`
	OnlyA   []string `json:"only_in_a"`
	OnlyB   []string `json:"only_in_b"`
	// Invented: one of the two is of a virtual bench.
	Invented bool `json:"invented,omitempty"`
}

// Compared says which record it is.
type Compared struct {
	Record    string           `json:"record"`
	Kind      runner.Kind      `json:"run"`
	At        time.Time        `json:"at"`
	Statement runner.Statement `json:"statement"`
	Serial    string           `json:"serial"`
	Asset     string           `json:"asset,omitempty"`
	Model     string           `json:"model"`
	Procedure string           `json:"procedure"`
	Revision  string           `json:"revision,omitempty"`
}

// Summary counts the rows.
type Summary struct {
	Both    int `json:"in_both"`
	Changed int `json:"changed_by_more_than_uncertainty"`
	// Out and In: crossed the limit between the two.
	Out int `json:"went_out_of_tolerance"`
	In  int `json:"came_into_tolerance"`
	// NotCompared stand in both, but their numbers can't be compared.
	NotCompared int `json:"not_compared"`
	OnlyA       int `json:"only_in_a"`
	OnlyB       int `json:"only_in_b"`
}

// Change is one point, or one row of another measurement, in both records.
type Change struct {
	Name string `json:"name"`
	Unit string `json:"unit,omitempty"`
	A    Found  `json:"a"`
	B    Found  `json:"b"`
	// Change is B − A with its expanded uncertainty; nil where one has no number,
	// or Why says what stands against it.
	Change  *quantity.Exact     `json:"change,omitempty"`
	U       *uncertainty.Result `json:"change_uncertainty,omitempty"`
	Ratio   *float64            `json:"change_relative_to_its_uncertainty,omitempty"` // |change|/U
	Common  []string            `json:"common,omitempty"`                             // contributions that are the same error in both
	Crossed string              `json:"crossed,omitempty"`                            // WentOut or CameIn
	Why     string              `json:"not_compared,omitempty"`
	Differs string              `json:"differs,omitempty"` // what else is not the same, such as the gate

	topologyA, topologyB string
}

// Which way a limit was crossed.
const (
	WentOut = "went out of tolerance"
	CameIn  = "came into tolerance"
)

// Found is what one of the records says.
type Found struct {
	Value    *quantity.Exact  `json:"value,omitempty"`
	Expanded float64          `json:"expanded_uncertainty,omitempty"`
	Limit    *quantity.Exact  `json:"limit,omitempty"`
	Side     runner.Side      `json:"side,omitempty"`
	Verdict  decision.Verdict `json:"verdict,omitzero"`
}

// Compare sets two records side by side. anyway computes changes also where
// Against or a row's topology says that they should not be.
func Compare(a, b record.Record, anyway bool) Comparison {
	c := Comparison{Schema: CompareSchema, A: compared(a), B: compared(b), Rows: []Change{}, OnlyA: []string{}, OnlyB: []string{}, Invented: a.Invented || b.Invented}
	c.against(a, b)
	left, right := measuredOf(a), measuredOf(b)
	at := map[string]measured{}
	for _, m := range right {
		at[m.key] = m
	}
	otherTopology := 0
	for _, m := range left {
		n, ok := at[m.key]
		if !ok {
			c.OnlyA = append(c.OnlyA, m.name)
			continue
		}
		delete(at, m.key)
		row := change(m, n, anyway)
		if m.topology != n.topology {
			otherTopology++
		}
		c.Rows = append(c.Rows, row)
	}
	for _, m := range right {
		if _, rest := at[m.key]; rest {
			c.OnlyB = append(c.OnlyB, m.name)
		}
	}
	if n := len(c.Rows); n > 0 && otherTopology == n {
		c.Against = append(c.Against, fmt.Sprintf("reference topology: of all that both have, %s in A, %s in B", c.Rows[0].topologyA, c.Rows[0].topologyB))
	}
	c.summarise()
	return c
}

func compared(r record.Record) Compared {
	return Compared{r.ID, r.Run.Kind, started(r), r.Run.Statement, r.Job.Serial, r.Job.Asset, strings.TrimSpace(r.Maker + " " + r.Model), r.Procedure.Name, r.Procedure.Revision}
}

// against collects what differs between two records.
func (c *Comparison) against(a, b record.Record) {
	differ := func(what, x, y string) {
		if x != y {
			c.Against = append(c.Against, fmt.Sprintf("%s: %q in A, %q in B", what, x, y))
		}
	}
	differ("unit, maker and model", c.A.Model, c.B.Model)
	differ("unit, serial number", a.Job.Serial, b.Job.Serial)
	if a.Job.Serial == "" && b.Job.Serial == "" {
		c.Against = append(c.Against, "unit, serial number: neither record has one, so that nothing shows that they are of one unit")
	}
	differ("procedure", a.Procedure.Name, b.Procedure.Name)
	if a.Procedure.Name == b.Procedure.Name && a.Procedure.SHA256 != b.Procedure.SHA256 {
		c.Notes = append(c.Notes, fmt.Sprintf("the procedure is not the same text in both (revision %q in A, %q in B): limits may differ", a.Procedure.Revision, b.Procedure.Revision))
	}
	for _, x := range []struct {
		name string
		r    record.Record
	}{{"A", a}, {"B", b}} {
		switch k := x.r.Corrects; {
		case k == nil:
		case k.Withdrawn:
			c.Against = append(c.Against, fmt.Sprintf("%s withdraws record %s: %s", x.name, k.ID, k.Reason))
		default:
			c.Notes = append(c.Notes, fmt.Sprintf("%s corrects record %s: %s", x.name, k.ID, k.Reason))
		}
		if len(x.r.Run.Only) > 0 {
			c.Notes = append(c.Notes, x.name+" is an added run of single points")
		}
	}
	if c.B.At.Before(c.A.At) {
		c.Notes = append(c.Notes, "B is the earlier one; changes are B less A")
	}
}

func (c *Comparison) summarise() {
	s := &c.Summary
	s.Both, s.OnlyA, s.OnlyB = len(c.Rows), len(c.OnlyA), len(c.OnlyB)
	for _, r := range c.Rows {
		switch r.Crossed {
		case WentOut:
			s.Out++
		case CameIn:
			s.In++
		}
		switch {
		case r.Why != "":
			s.NotCompared++
		case r.Ratio != nil && *r.Ratio > 1:
			s.Changed++
		}
	}
}
