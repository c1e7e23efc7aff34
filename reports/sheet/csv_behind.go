package sheet

import (
	"strings"

	"bandproof/runner"
)

// csvBehind fills in what the verdict of a point rests on.
func (r run) csvBehind(row []string, p *runner.PointResult) {
	set := func(name, value string) { row[csvAt(name)] = value }
	set("path", csvText(p.Point.Path))
	set("locked", csvText(p.Setting.Locked))
	if p.Point.Longest != nil {
		set("longest_gate_s", p.Point.Longest.Plain())
	}
	set("stopped_early", csvText(p.StoppedEarly))
	set("reference_hz", csvExact(p.Reference))
	set("resolution_hz", csvExact(p.Limit.Resolution))
	var terms []string
	for _, x := range p.Limit.Terms {
		terms = append(terms, x.Name+" "+csvExact(x.Hz))
	}
	set("limit_terms", csvText(strings.Join(terms, "; ")))
	if p.Counted > 0 {
		set("spread_hz", csvExact(p.Spread))
		set("guard_band_hz", csvExact(p.GuardBand))
		set("coverage_factor", csvFloat(p.Reported.CoverageFactor))
		if p.TURWithUnit != nil {
			set("tur_with_unit", csvFloat(*p.TURWithUnit))
		}
		if p.Conformity != nil {
			set("conformity_probability", csvFloat(*p.Conformity))
		}
	}
	set("decision_rule", csvText(r.Run.Rule.String()))
	set("standards", csvText(strings.Join(p.Standards, "; ")))
	set("notes", csvText(strings.Join(p.Notes, "; ")))
}

// csvRecord are the last columns, from maker on: what all rows of a record share.
func (s *Sheet) csvRecord(r run) []string {
	hash, key := s.fingerprint(r)
	return []string{csvText(r.Maker), csvText(r.Model), csvText(r.Job.Serial), csvText(r.Job.Asset),
		csvText(r.Record.Procedure.Name), csvText(r.Record.Procedure.Revision), csvText(hash), csvText(key), csvText(s.csvStanding(r))}
}

// csvStanding is why a record may not be taken for what holds now, or ever did;
// and which record it takes the place of.
func (s *Sheet) csvStanding(r run) string {
	var list []string
	if r.Invented {
		list = append(list, "invented")
	}
	by, replaced := s.replaced[r.ID]
	switch {
	case r.Corrects != nil && r.Corrects.Withdrawn:
		list = append(list, "withdrawn")
	case replaced && by.Corrects != nil && by.Corrects.Withdrawn:
		list = append(list, "withdrawn by "+by.ID)
	case replaced:
		list = append(list, "replaced by "+by.ID)
	}
	if r.Corrects != nil {
		list = append(list, "in place of "+r.Corrects.ID)
	}
	return strings.Join(list, "; ")
}

// csvShared adds the columns of the record to rows.
func csvShared(rows [][]string, of []string) [][]string {
	for _, row := range rows {
		copy(row[csvAt("maker"):], of)
	}
	return rows
}
