package dcc

import (
	"math/big"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// count is how many elements of a name there are below n.
func (n *node) count(name string) int {
	sum := 0
	n.walk(func(x *node) {
		if x.name == name {
			sum++
		}
	})
	return sum
}

// declared gathers all texts of the statements of a reference type.
func declared(root *node, ref string) string {
	var list []string
	for _, s := range root.all("dcc:administrativeData", "dcc:statements", "dcc:statement") {
		if s.attrs["refType"] == ref {
			s.walk(func(n *node) { list = append(list, strings.TrimSpace(n.text)) })
		}
	}
	return strings.Join(list, "\n")
}

func TestWithoutStatementOfConformity(t *testing.T) {
	r := foundRecord(t)
	root := parsed(t, certified(t, options(), r))
	require.Greater(t, root.count("dcc:conformity"), 5)
	r.Job.Conformity = "no"
	root = parsed(t, certified(t, options(), r))
	require.Zero(t, root.count("dcc:conformity"))
	require.Contains(t, declared(root, refConformity), "Results without a statement of conformity, as agreed with the customer.")
	text := string(certified(t, options(), r))
	for _, word := range []string{"robabilityOfConformity", "Guard band", "outside tolerance", "Decision uncertainty,", ">fail", ">pass", ">conditional", "By itself: fail"} {
		require.NotContains(t, text, word)
	}
	require.Contains(t, text, ">no count<")
	require.Contains(t, text, ">not judged: source not locked<")
}

func TestOverallConformity(t *testing.T) {
	for _, row := range []struct {
		statement runner.Statement
		verdicts  []decision.Word
		changed   bool
		want      string
	}{
		{runner.WithinAll, []decision.Word{decision.Pass, decision.Pass}, false, "pass"},
		{runner.WithinShown, []decision.Word{decision.ConditionalPass, decision.Pass}, false, "conditionalPass"},
		{runner.Outside, []decision.Word{decision.ConditionalFail, decision.Pass}, false, "conditionalFail"},
		{runner.Outside, []decision.Word{decision.ConditionalFail, decision.Fail}, false, "fail"},
		{runner.Outside, []decision.Word{decision.Pass}, true, "fail"},
		{runner.Outside, []decision.Word{decision.ConditionalFail}, true, "fail"},
		{runner.NotObtainable, []decision.Word{decision.Fail}, false, "fail"},
		{runner.Incomplete, []decision.Word{decision.Pass, decision.NotJudged}, false, ""},
		{"", nil, false, ""},
	} {
		x := run{Record: record.Record{Run: runner.Result{Statement: row.statement}}}
		for _, w := range row.verdicts {
			x.Run.Points = append(x.Run.Points, runner.PointResult{Judgement: procedures.Judgement{Verdict: decision.Verdict{Word: w}}})
		}
		if row.changed {
			x.Run.Changes = []runner.Change{{}}
		}
		require.Equal(t, row.want, x.overall(), "%v", row)
	}
}

func TestTraceabilityIsNotClaimedWithoutCertificate(t *testing.T) {
	good := leftRecord(t)
	good.Invented, good.Standards[1].Overdue = false, false
	for _, row := range []struct {
		name   string
		change func(*record.Record)
		want   bool
	}{
		{"good", func(*record.Record) {}, true},
		{"a source out of date, the reference good", func(r *record.Record) { r.Standards[1].Overdue = true }, true},
		{"reference without certificate", func(r *record.Record) { r.Standards[0].Certificate = " " }, false},
		{"reference out of date", func(r *record.Record) { r.Standards[0].Overdue = true }, false},
		{"reference of no date", func(r *record.Record) { r.Standards[0].Calibrated = procedures.Date{} }, false},
		{"source on its own timebase", func(r *record.Record) { r.Standards = r.Standards[1:] }, true},
		{"no standard", func(r *record.Record) { r.Standards = nil }, false},
		{"invented", func(r *record.Record) { r.Invented = true }, false},
	} {
		r := good
		r.Standards = append([]record.Standard{}, good.Standards...)
		row.change(&r)
		root := parsed(t, certified(t, options(), r))
		require.Equal(t, row.want, root.count("dcc:traceable") == 1, row.name)
		require.Equal(t, row.want, strings.Contains(declared(root, refTraceable), "are traceable to the International"), row.name)
	}
}

func TestStatements(t *testing.T) {
	due := func(agreed string) record.Record {
		r := leftRecord(t)
		require.NoError(t, r.Job.Due.UnmarshalText([]byte("2027-11-30")))
		r.Job.DueAgreed = agreed
		return r
	}
	r := due("Example Customer, by mail of 2026-11-21")
	root := parsed(t, certified(t, options(), r))
	require.Contains(t, declared(root, refDue), "Due on 2027-11-30, as agreed by Example Customer")
	require.Contains(t, declared(root, refScope), "input C above 18 GHz: no source; agreed by Example Customer, by mail of 2026-11-21.")
	require.Contains(t, declared(root, refScope), "does not say how the unit was received")
	require.Contains(t, declared(root, refScope), "Input C, 18 GHz to 22 GHz: beyond the range of source MW (up to 18 GHz)")
	require.Contains(t, declared(root, refAltered), "Second amplifier of input C replaced")
	require.Contains(t, declared(root, refInvented), "not a calibration")
	require.Contains(t, declared(root, refIssued), "2026-11-27")
	text := string(certified(t, options(), due("")))
	require.NotContains(t, text, "2027-11-30", "no due date that the customer has not agreed to (ISO/IEC 17025:2017 7.8.4.3)")

	root = parsed(t, certified(t, options(), correctedRecord(t)))
	previous := root.one(t, "dcc:administrativeData", "dcc:coreData", "dcc:previousReport")
	require.Equal(t, "EX-2026-118-as-left", previous.says(t, "dcc:referralID"))
	require.Equal(t, "SHA-256", previous.says(t, "dcc:procedure"))
	require.Equal(t, options().Hashes["EX-2026-118-as-left"], previous.says(t, "dcc:value"))
	require.Contains(t, declared(root, refRevision), `Reason: name of the customer misspelt. By A. Example (invented).`)
	require.Contains(t, declared(root, refRevision), `/job/customer was "Exmaple", is "Example Customer (invented)".`)
	withdrawn := correctedRecord(t)
	withdrawn.Corrects.Withdrawn = true
	require.Contains(t, declared(parsed(t, certified(t, Options{}, withdrawn)), refRevision), "must not be relied on")
	require.Zero(t, parsed(t, certified(t, Options{}, withdrawn)).count("dcc:previousReport"), "no hash, no reference")
}

// What has no value says why in its place.
func TestNoValueSaysWhy(t *testing.T) {
	root := parsed(t, certified(t, options(), foundRecord(t)))
	why := map[string]string{}
	for _, l := range root.all("dcc:measurementResults", "dcc:measurementResult", "dcc:results", "dcc:result", "dcc:data", "dcc:list") {
		if q := l.quantityOf(t, "basic_measuredValue"); q != nil && q.one(t, "dcc:noQuantity") != nil {
			why[l.says(t, "dcc:name", "dcc:content")] = q.says(t, "dcc:noQuantity", "dcc:content")
		}
	}
	require.Equal(t, map[string]string{"Point C-002": "fail: no count", "Point C-003": "not judged: source not locked", "Not shown": "not shown: beyond the range of source MW (up to 18 GHz)",
		"Do all segments of the display light up?": "fail: not as expected: segment d of digit 3 stays dark", "Is the connector of input A firm?": "not judged: no operator"}, why)
	text := string(certified(t, options(), deadRecord(t)))
	require.Contains(t, text, "Not obtainable: inoperative: display dark, no reply.")
	require.NotContains(t, text, ">pass<")
}

func TestRecordsThatDoNotBelongTogether(t *testing.T) {
	other := leftRecord(t)
	other.Job.Serial = "TC3-9999"
	nowhere := foundRecord(t)
	nowhere.Laboratory.Country = ""
	odd := foundRecord(t)
	odd.Run.Kind = "later"
	for _, row := range []struct {
		records []record.Record
		country string
		want    string
	}{
		{nil, "", "no record for the certificate"},
		{[]record.Record{foundRecord(t), foundRecord(t)}, "", "are both as-found"},
		{[]record.Record{foundRecord(t), other}, "", `serial number is "TC3-0042" in the first and "TC3-9999" in the second`},
		{[]record.Record{nowhere}, "", "give --country"},
		{[]record.Record{nowhere}, "Switzerland", `has "Switzerland"`},
		{[]record.Record{odd}, "", "expected as-found, after-repair or as-left"},
	} {
		_, err := New(Options{Country: row.country}, row.records...)
		require.ErrorContains(t, err, row.want)
	}
	_, err := New(Options{Country: "CH"}, nowhere)
	require.NoError(t, err)
}

// Who authorised the report signs the certificate (ISO/IEC 17025:2017 7.8.2.1 o);
// without one, who performed the last run.
func TestWhoSigns(t *testing.T) {
	var r record.Record
	r.Job.Technician, r.Job.Authorised = "A", "B"
	c := &Certificate{runs: []run{{Record: r}}}
	list := c.persons()
	require.Len(t, list, 2)
	require.False(t, list[0].MainSigner)
	require.True(t, list[1].MainSigner)
	require.Equal(t, "B", list[1].Name.Content[0].Text)
	c.runs[0].Job.Authorised = ""
	list = c.persons()
	require.Len(t, list, 1)
	require.True(t, list[0].MainSigner)
}

func TestPlaceAndContact(t *testing.T) {
	for in, want := range map[string]string{"": "laboratory", " ": "laboratory", "at the customer's site": "customer", "radio station, 2nd floor": "other"} {
		require.Equal(t, want, place(in), in)
	}
	for in, want := range map[string]string{"": "", "2 Street, a@b.example": "a@b.example", "mailto:a@b.example.": "a@b.example", "A. Example <a@b.example>, +00 1": "a@b.example", "a@": "", "@": "", "call +00 123": "", "a@b@c": ""} {
		require.Equal(t, want, mailAddress(in), in)
	}
	c := &Certificate{v: versions[0]}
	x := c.contact("N", "+00 (12) 34-56; bench@example.org", "ZZ", nil)
	require.Equal(t, "+00 (12) 34-56", x.Phone)
	require.Equal(t, "bench@example.org", x.Mail)
	require.Equal(t, notStated, c.contact("N", "by pigeon", "", nil).Mail)
	newer := &Certificate{v: version{}}
	require.Empty(t, newer.contact("N", "by pigeon", "", nil).Mail, "not required by every version")
}

// A version whose core data hold the date of issue has it there, and no statement.
func TestIssueDateByVersion(t *testing.T) {
	c, err := New(options(), leftRecord(t))
	require.NoError(t, err)
	require.Empty(t, c.core().IssueDate)
	c.v.IssueDate = true
	require.Equal(t, "2026-11-27", c.core().IssueDate)
	for _, s := range c.statements() {
		require.NotEqual(t, refIssued, s.RefType)
	}
}

// What is written reads back as the same number, or differs by less than a
// millionth of its uncertainty; twelve decimal places there are at least.
func TestNumbersKeepTheirDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := big.NewRat(rapid.Int64().Draw(t, "numerator"), rapid.Int64Range(1, 1<<62).Draw(t, "denominator"))
		if rapid.Bool().Draw(t, "decimal") {
			r = new(big.Rat).SetFrac(r.Num(), new(big.Int).Exp(big.NewInt(10), big.NewInt(rapid.Int64Range(0, 40).Draw(t, "places")), nil))
		}
		u := rapid.Float64Range(1e-20, 1e9).Draw(t, "u")
		text := number(quantity.ExactOf(r), u)
		got, ok := new(big.Rat).SetString(text)
		if !ok || strings.ContainsAny(text, "eE/") {
			t.Fatalf("%q is no plain decimal", text)
		}
		if _, ends := r.FloatPrec(); ends {
			if got.Cmp(r) != 0 {
				t.Fatalf("%s is not %s", text, r.RatString())
			}
			return
		}
		bound := new(big.Rat).SetFloat64(u)
		bound.Mul(bound, big.NewRat(1, 1_000_000))
		if d := got.Sub(got, r); d.Abs(d).Cmp(bound) >= 0 {
			t.Fatalf("%s is too far from %s for U = %v", text, r.RatString(), u)
		}
	})
}
