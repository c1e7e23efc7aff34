package record

import (
	"encoding/json"
	"reflect"
	"strings"

	"bandproof/procedures"
	"bandproof/runner"
)

// Original is what a journal holds of the run that a record is of.
type Original struct {
	Job              procedures.Job
	Procedure, Bench Source
	Overdue          []runner.Overdue
	Points           []runner.PointResult
	Outcomes         []runner.Outcome
	Entries          []runner.Entry
	Events           []runner.Event
}

// parts are those that a record of the run may have, by their short hashes. A
// job without serial number takes that of the unit.
func (o Original) parts(serial string) map[string][]byte {
	named := o.Job
	named.Serial = serial
	list := []any{&o.Job, &named, &o.Procedure, &o.Bench, &o.Overdue, &o.Entries, &o.Events}
	for k := range o.Points {
		list = append(list, &o.Points[k])
	}
	for k := range o.Outcomes {
		list = append(list, &o.Outcomes[k])
	}
	byHash := map[string][]byte{}
	for _, v := range list {
		toUTC(reflect.ValueOf(v).Elem())
		if text, err := canonical(v); err == nil {
			byHash[short(text)] = text
		}
	}
	return byHash
}

// Against says more of parts that were changed: where the journal still has what
// was sealed, as the hash in the seal proves, it names each value, old and new.
func (s Sealed) Against(o Original, findings []Finding) (list []Finding) {
	now, err := partsOf(s.Bytes)
	if err != nil {
		return findings
	}
	var unit struct{ Serial string }
	_ = json.Unmarshal(now["/run/unit"], &unit) // without it there is no such job
	originals := o.parts(unit.Serial)
	for _, f := range findings {
		was, ok := originals[s.Seal.Parts[f.Part]]
		if !ok || f.Part == "" {
			list = append(list, f)
			continue
		}
		is, there := now[f.Part]
		if !there || strings.HasSuffix(f.Text, "taken out after sealing") {
			f.Was = string(was)
			list = append(list, f)
			continue
		}
		list = append(list, valuesChanged(f, was, is)...)
	}
	return list
}

// valuesChanged names the values that differ within a part.
func valuesChanged(f Finding, was, is []byte) (list []Finding) {
	differ, err := Differences(was, is)
	if err != nil || len(differ) == 0 {
		return []Finding{f}
	}
	for _, d := range differ[:min(len(differ), mostFindings)] {
		name, _, _ := strings.Cut(f.Text, " (")
		list = append(list, Finding{Part: f.Part + d.Path, Text: name + ", " + strings.TrimPrefix(d.Path, "/") + " (" + f.Part + d.Path + ")", Was: d.Was, Is: d.Is})
	}
	return list
}
