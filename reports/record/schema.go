package record

import (
	"encoding"
	"encoding/json"
	"fmt"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/invopop/jsonschema"
)

// Schemas are the names of the schemas that JSONSchema knows.
func Schemas() []string { return []string{"record", "seal"} }

// JSONSchema returns the JSON Schema (draft 2020-12) of a record or of a seal,
// made from the Go types. Quantities are texts of a known form, exact numbers of
// hertz texts too; numbers are statistics.
func JSONSchema(of string) ([]byte, error) {
	var v any
	var version string
	switch of {
	case "record":
		v, version = Record{}, Schema
	case "seal":
		v, version = Seal{}, SealSchema
	default:
		return nil, fmt.Errorf("no schema for %q; there are %s", of, strings.Join(Schemas(), ", "))
	}
	r := jsonschema.Reflector{ExpandedStruct: true, Namer: defName, Mapper: textForm}
	s := r.Reflect(v)
	s.ID = jsonschema.ID("urn:" + strings.ReplaceAll(version, " ", ":"))
	s.Title = version
	defs := map[string]reflect.Type{}
	structs(reflect.TypeOf(v), defs)
	for name, t := range defs {
		if d := s.Definitions[name]; d != nil {
			asWritten(d, t)
		}
	}
	asWritten(s, reflect.TypeOf(v))
	if p, ok := s.Properties.Get("schema"); ok {
		p.Const = version
	}
	if of == "record" {
		describe(s, s.Definitions[defName(reflect.TypeFor[runner.Result]())])
	}
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("schema of a %s: %w", of, err)
	}
	return append(out, '\n'), nil
}

// defName keeps types of one name in several packages apart.
func defName(t reflect.Type) string {
	if t.PkgPath() == "" {
		return t.Name()
	}
	name, _, _ := strings.Cut(t.Name(), "[")
	return path.Base(t.PkgPath()) + "." + name
}

// words are the types of which only certain texts are known.
var words = map[reflect.Type][]any{
	reflect.TypeFor[runner.Kind]():      {runner.AsFound, runner.AfterRepair, runner.AsLeft},
	reflect.TypeFor[runner.Statement](): {runner.WithinAll, runner.WithinShown, runner.WithinPoints, runner.Outside, runner.Incomplete, runner.NotObtainable},
	reflect.TypeFor[runner.Use]():       {runner.Counted, runner.Discarded, runner.FirstLook, runner.Proof, runner.RFOffLook, runner.ClosingCheck, runner.Lost},
	reflect.TypeFor[decision.Word]():    {decision.Word(""), decision.Pass, decision.ConditionalPass, decision.ConditionalFail, decision.Fail, decision.NotJudged},
	reflect.TypeFor[drivers.Mark]():     {drivers.None, drivers.NoSignal, drivers.OverRange, drivers.NoReply},
}

// textForm gives types that are written as texts their schema.
func textForm(t reflect.Type) *jsonschema.Schema {
	switch list, known := words[t]; {
	case known:
		return &jsonschema.Schema{Type: "string", Enum: list}
	case t == reflect.TypeFor[time.Time]():
		return &jsonschema.Schema{Type: "string", Format: "date-time", Pattern: "Z$", Description: "UTC"}
	case t == reflect.TypeFor[quantity.Exact]():
		return &jsonschema.Schema{Type: "string", Pattern: `^-?[0-9]+(\.[0-9]+|/[0-9]+)?(E[+-]?[0-9]+)?$`, Examples: []any{"-1/3", "12.5"}, Description: "exact: a decimal number or a fraction"}
	case t.Kind() == reflect.Pointer:
		return nil
	}
	if p, ok := reflect.Zero(t).Interface().(interface {
		Pattern() (pattern, example string)
	}); ok {
		_, example := p.Pattern() // of what a person may type; it is written in one form of it
		return &jsonschema.Schema{Type: "string", Examples: []any{example}}
	}
	if t.Implements(reflect.TypeFor[encoding.TextMarshaler]()) {
		return &jsonschema.Schema{Type: "string"}
	}
	return nil
}

// structs collects the structs that a type is made of, by the names of their
// schemas.
func structs(t reflect.Type, list map[string]reflect.Type) {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
		structs(t.Elem(), list)
	case reflect.Struct:
		if textForm(t) != nil || list[defName(t)] != nil {
			return
		}
		list[defName(t)] = t
		for k := range t.NumField() {
			structs(t.Field(k).Type, list)
		}
	}
}

// asWritten makes a schema say what encoding/json does: members without
// omitempty are always there, and an empty list among them is null.
func asWritten(s *jsonschema.Schema, t reflect.Type) {
	s.Required = nil
	for _, f := range reflect.VisibleFields(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		p, ok := s.Properties.Get(name)
		if !ok || f.Anonymous || slices.Contains(s.Required, name) {
			continue
		}
		if strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero") {
			continue
		}
		s.Required = append(s.Required, name)
		switch f.Type.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Map:
			s.Properties.Set(name, &jsonschema.Schema{OneOf: []*jsonschema.Schema{p, {Type: "null"}}})
		}
	}
	slices.Sort(s.Required)
}

// describe says what the members of a record and of its run are for, and which
// item of ISO/IEC 17025:2017 they serve.
func describe(s, run *jsonschema.Schema) {
	for _, d := range []struct {
		of   *jsonschema.Schema
		says map[string]string
	}{{s, recordSays}, {run, runSays}} {
		for name, text := range d.says {
			if p, ok := d.of.Properties.Get(name); ok {
				c := *p
				if c.Ref != "" {
					c = jsonschema.Schema{AllOf: []*jsonschema.Schema{p}}
				}
				c.Description = text
				d.of.Properties.Set(name, &c)
			}
		}
	}
}

var recordSays = map[string]string{
	"id":          "Unique identification (7.8.2.1 d), on every page of the data sheet.",
	"follows":     "Record of the earlier run of the same job: results before adjustment or repair (7.8.4.1 d).",
	"corrects":    "Amendment: which record this one takes the place of, what was changed, why and by whom (7.8.8).",
	"created":     "When the run ended and the record was made: date of issue (7.8.2.1 i).",
	"zone":        "Zone of the bench's clock when the run began.",
	"program":     "Software, version and build (7.11).",
	"job":         "Customer, unit, order, dates, conditions as stated (7.8.2.1 e, g, h); limits of scope and due date only as agreed (7.8.4.3).",
	"laboratory":  "Name and address of the laboratory, place of performance (7.8.2.1 b, c).",
	"maker":       "Maker of the unit, as the procedure names it (7.8.2.1 g).",
	"model":       "Model of the unit, as the procedure names it (7.8.2.1 g).",
	"procedure":   "Method: the procedure file with revision, hash and full text (7.8.2.1 f).",
	"bench":       "The bench file with hash and full text: sources, references, paths, their uncertainties.",
	"standards":   "Traceability: each standard with certificate, dates and stated uncertainty (7.8.4.1 c).",
	"run":         "Results, conditions, verdicts (7.8.2.1 l to o, 7.8.4.1 a, b, 7.8.6) and the technical record behind them (7.5).",
	"adjustments": "What was adjusted since the as-found run, every try (7.8.4.1 d).",
	"invented":    "Marks a record of a virtual bench.",
}

var runSays = map[string]string{
	"kind":           "State of the unit: as received, repaired but not adjusted, or as released (7.8.4.1 d).",
	"unit":           "What the unit says of itself, firmware among it.",
	"topology":       "What unit and source run from, by source; what that leaves tested.",
	"decision":       "Decision rule (7.8.6.1).",
	"inputs":         "By input: specification, share of its range that was covered, what was not shown and why, reference as checked.",
	"points":         "Each point: setting, readings as sent and when, reference value, error, limit with its terms, uncertainty budgets, verdict, standards used, symptom (7.8.2.1 m, 7.8.4.1 a, 7.8.6.2).",
	"outcomes":       "What other kinds of measurement found, likewise.",
	"ambient":        "Conditions over time, as measured (7.8.4.1 b).",
	"warm_up":        "How the unit was warmed up.",
	"entries":        "What a person was asked and answered, when (7.5.1).",
	"events":         "What happened to run and bench, accepted exceptions among it.",
	"warnings":       "What plan and run warned of.",
	"changes":        "Points that passed and later in the run did not.",
	"overdue":        "Standards used past their due date, and who accepted that.",
	"only":           "An added run of single points and tasks.",
	"statement":      "Statement of conformity (7.8.6.2).",
	"symptom":        "What a unit shows that gives no readings at all: every point is not obtainable.",
	"sessions":       "Sessions of a run that was interrupted and gone on with.",
	"complete":       "Whether the run came to the end of its plan.",
	"rf_may_be_on":   "Sources whose RF could not be switched off at the end.",
	"planned_points": "How many points the plan has.",
}
