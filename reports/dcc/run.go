package dcc

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// measurement is one run: how, with what, under which conditions, what came of it.
func (r run) measurement(c *Certificate) measurement {
	ids := r.equipmentIDs()
	return measurement{ID: r.id, Name: *english(r.label), Description: say(r.remarks()...), Methods: r.methods(),
		Software:  []software{{Name: free(r.Program.Name), Release: stated(r.Program.Version), Type: "application", Description: say(prefixed("took the run and judged it; built with ", r.Program.Go))}},
		Equipment: r.equipment(), Conditions: r.conditions(c), Results: r.results(ids), MetaData: r.evidence(c)}
}

// evidence leads from the certificate to the record that it was made from.
func (r run) evidence(c *Certificate) group[statement] {
	text := "Record " + stated(r.ID) + "."
	if h := c.o.Hashes[r.ID]; h != "" {
		text = "Record " + stated(r.ID) + ", SHA-256 of its canonical JSON (RFC 8785): " + h + "."
	}
	return group[statement]{{RefType: refRecord, Declaration: titled("Record that the results are taken from", text)}}
}

// remarks are what a reader of the run's results has to know.
func (r run) remarks() []string {
	lines := []string{fmt.Sprintf("Record %s, taken from %s to %s.", stated(r.ID), moment(r.Run.Started), moment(r.Run.Finished))}
	if r.Run.Unit.Stated {
		lines = append(lines, "The unit states of itself: "+stated(join(", ", r.Run.Unit.Maker, r.Run.Unit.Model, r.Run.Unit.Serial, r.Run.Unit.Firmware))+".")
	}
	for _, w := range r.Run.Warnings {
		lines = append(lines, "Warning: "+w)
	}
	for _, o := range r.Run.Overdue {
		lines = append(lines, "Used past its due date: "+o.Name+prefixed(", accepted by ", o.By)+".")
	}
	return append(lines, prefixed("Remarks: ", r.Job.Remarks))
}

// moment is a time as the schema spells it, in UTC.
func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2006-01-02T15:04:05Z")
}

func (r run) methods() []method {
	list := []method{{RefType: refMethod, Name: free(r.Procedure.Name),
		Reference:   []string{fmt.Sprintf("revision %s, file %s, SHA-256 %s", stated(r.Procedure.Revision), stated(r.Procedure.File), stated(r.Procedure.SHA256))},
		Description: say("Direct comparison: the source sets each frequency at a stated level at the input; the mean of the unit's readings, taken after settling, is compared with the reference value.")}}
	list = append(list, method{Name: *english("Uncertainty"), Norms: []string{"JCGM 100:2008"},
		Description: say("Budget of each result combined by JCGM 100; coverage factor by Student's t for the effective degrees of freedom.")})
	return append(list, method{RefType: refRule, Name: *english("Decision rule"), Description: say(r.Run.Rule.String())})
}

// equipmentIDs names each standard of the run by its id within the file.
func (r run) equipmentIDs() map[string]string {
	ids := map[string]string{}
	for k, x := range r.Standards {
		if _, twice := ids[x.Name]; !twice {
			ids[x.Name] = fmt.Sprintf("%s-equipment-%d", r.id, k+1)
		}
	}
	return ids
}

// used turns names of standards into references to equipment.
func used(ids map[string]string, names []string) string {
	var list []string
	for _, name := range names {
		if id, ok := ids[name]; ok && !slices.Contains(list, id) {
			list = append(list, id)
		}
	}
	return strings.Join(list, " ")
}

func (r run) equipment() []equipment {
	var list []equipment
	for k, x := range r.Standards {
		e := equipment{ID: fmt.Sprintf("%s-equipment-%d", r.id, k+1), Name: free(x.Name), Model: word(x.Model)}
		if word(x.Maker) != "" {
			maker := free(x.Maker)
			e.Maker = &maker
		}
		due := prefixed("calibration relied on until ", x.Due.String())
		if x.Overdue {
			due += ", which was past at the time of the run"
		}
		e.Description = say(join("; ", x.Role, x.Stated, prefixed("calibrated ", x.Calibrated.String()), due))
		if s := word(x.Serial); s != "" {
			e.Identifications = append(e.Identifications, identification{"", byMaker, s, english("Serial number")})
		}
		if s := word(x.Certificate); s != "" {
			e.Identifications = append(e.Identifications, identification{refCertificate, byOther, s, english("Number of the calibration certificate")})
		}
		list = append(list, e)
	}
	return list
}

// stateOfUnit gives the schema's words for the state of the unit in a run: one value a
// condition, so that two conditions tell of a unit that was repaired and not yet
// adjusted.
func (r run) stateOfUnit(c *Certificate) (words []string, says string) {
	switch r.Run.Kind {
	case runner.AsFound:
		return []string{"beforeRepair", "beforeAdjustment"}, "As found: as received, before anything was done to the unit."
	case runner.AfterRepair:
		return []string{"afterRepair", "beforeAdjustment"}, "After repair, before adjustment."
	}
	says = "As left: as released."
	repaired := c.any(func(x run) bool { return x.Run.Kind == runner.AfterRepair })
	switch {
	case repaired || r.Job.Work != "":
		return []string{"afterRepair", "afterAdjustment"}, says + prefixed(" Work since the earlier run: ", r.Job.Work)
	case len(r.Adjustments) > 0:
		return []string{"afterAdjustment"}, says
	}
	return []string{""}, says + " The record does not say that anything was altered before."
}

func (r run) conditions(c *Certificate) []condition {
	var list []condition
	words, says := r.stateOfUnit(c)
	for _, w := range words {
		list = append(list, condition{RefType: refState, Name: *english("State of the unit"), Status: w, Data: of(say(says))})
	}
	add := func(ref, name, source string, parts ...any) {
		list = append(list, condition{RefType: ref, Name: *english(name), Description: say(source), Data: of(parts...)})
	}
	if t := r.Job.Temperature; t != nil {
		add(refTemperature, "Ambient temperature", "As stated in the job file: "+t.String(), inKelvin(*t, time.Time{}))
	}
	if h := r.Job.Humidity; h != nil {
		add(refHumidity, "Relative humidity", "As stated in the job file: "+h.String(), plain(refMeasured, "Relative humidity", h.Exact(), one))
	}
	if m := r.Job.Mains; m != nil {
		add(refMains, "Mains voltage", "As stated in the job file.", plain(refMeasured, "Mains voltage", m.Exact(), volt))
	}
	for _, a := range r.Run.Ambient {
		source := fmt.Sprintf("Measured by thermometer %s, %s.", a.Thermometer, a.When)
		if a.Temperature != nil {
			add(refTemperature, "Ambient temperature", source+" "+a.Temperature.String(), inKelvin(*a.Temperature, a.At))
		}
		if a.Humidity != nil {
			v := plain(refMeasured, "Relative humidity", a.Humidity.Exact(), one)
			v.Real.Time = moment(a.At)
			add(refHumidity, "Relative humidity", source+" "+a.Humidity.String(), v)
		}
	}
	if r.Run.OnFor.Sign() > 0 {
		add(refOnFor, "Time for which the unit had been on before the first point", "", plain(refMeasured, "Time", r.Run.OnFor.Exact(), second))
	}
	if w := r.Run.WarmUp; w != nil {
		add(refOnFor, "Warm-up", "", say(w.Ended))
	}
	for _, text := range r.topologies() {
		add(refTopology, "Reference topology", "", say(text))
	}
	return list
}

// inKelvin is a temperature in the SI base unit: the file is read by programs,
// and the notations of D-SI in use spell the degree Celsius in two ways.
func inKelvin(t quantity.Temperature, at time.Time) value {
	v := plain(refMeasured, "Ambient temperature", t.Exact().Add(zeroCelsius), kelvin)
	v.Real.Time = moment(at)
	return v
}

// zeroCelsius in kelvin, exact (SI Brochure, 9th edition, 2.3.1).
var zeroCelsius = quantity.ExactInt(27315).Quo(quantity.ExactInt(100))

// topologies say what unit and source run from, sources that share a sentence together.
func (r run) topologies() []string {
	by := map[string][]string{}
	for _, name := range slices.Sorted(maps.Keys(r.Run.Topology)) {
		says := r.Run.Topology[name].Says
		by[says] = append(by[says], name)
	}
	var list []string
	for _, says := range slices.SortedFunc(maps.Keys(by), func(a, b string) int { return cmp.Compare(by[a][0], by[b][0]) }) {
		list = append(list, "Source "+strings.Join(by[says], ", ")+": "+stated(says))
	}
	return list
}
