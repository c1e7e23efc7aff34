package procedures

import (
	"fmt"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// JobSchema names the version of the job file.
const JobSchema = "bandproof job 1"

// Job is what is known of one order: whose unit, which, who works on it, under
// which conditions.
type Job struct {
	Schema     string `toml:"schema" json:"schema" jsonschema:"const=bandproof job 1" jsonschema_description:"Version of the file format."`
	Number     string `toml:"number,omitempty" json:"number,omitempty" jsonschema_description:"Number of the order."`
	Customer   string `toml:"customer,omitempty" json:"customer,omitempty" jsonschema_description:"Customer."`
	Contact    string `toml:"contact,omitempty" json:"contact,omitempty" jsonschema_description:"Address or contact of the customer."`
	Asset      string `toml:"asset,omitempty" json:"asset,omitempty" jsonschema_description:"The customer's asset number."`
	Serial     string `toml:"serial,omitempty" json:"serial,omitempty" jsonschema_description:"Serial number of the unit."`
	Options    string `toml:"options,omitempty" json:"options,omitempty" jsonschema_description:"Options fitted."`
	Technician string `toml:"technician,omitempty" json:"technician,omitempty" jsonschema_description:"Who does the work."`
	Authorised string `toml:"authorised,omitempty" json:"authorised,omitempty" jsonschema_description:"Who has checked and authorised the report: name and function."`
	Received   Date   `toml:"received,omitempty" json:"received" jsonschema_description:"Date of receipt."`
	Condition  string `toml:"condition,omitempty" json:"condition,omitempty" jsonschema_description:"Condition on receipt."`
	// Adjusted is the date of the last adjustment of the timebase.
	Adjusted    Date                  `toml:"adjusted,omitempty" json:"adjusted" jsonschema_description:"Date of the last adjustment of the timebase, for the ageing term."`
	Temperature *quantity.Temperature `toml:"temperature,omitempty" json:"temperature,omitempty" jsonschema_description:"Ambient temperature."`
	Humidity    *quantity.Ratio       `toml:"humidity,omitempty" json:"humidity,omitempty" jsonschema_description:"Relative humidity, such as 45 %."`
	Mains       *quantity.Voltage     `toml:"mains,omitempty" json:"mains,omitempty" jsonschema_description:"Mains voltage."`
	// OnFor is how long the unit had been on when the run began.
	OnFor quantity.Duration `toml:"on_for,omitempty" json:"on_for" jsonschema_description:"How long the unit has been on when the run begins."`
	// Work tells what was done to the unit since the earlier run.
	Work    string `toml:"work,omitempty" json:"work,omitempty" jsonschema_description:"What was repaired or adjusted since the as-found run."`
	Remarks string `toml:"remarks,omitempty" json:"remarks,omitempty" jsonschema_description:"Remarks for the data sheet."`
	// Due is printed only where DueAgreed says who of the customer agreed to it
	// (ISO/IEC 17025:2017 7.8.4.3).
	Due       Date   `toml:"due,omitempty" json:"due,omitzero" jsonschema_description:"Date of the next calibration, for data sheet and label; only with due_agreed."`
	DueAgreed string `toml:"due_agreed,omitempty" json:"due_agreed,omitempty" jsonschema_description:"Who of the customer agreed to the due date, and when."`
	// NotReleased: the unit leaves uncalibrated, with this reason.
	NotReleased string `toml:"not_released,omitempty" json:"not_released,omitempty" jsonschema_description:"Why the unit is not released as calibrated, such as beyond repair; data sheet and label say so."`
	// Unaltered: what was found is what is left.
	Unaltered bool `toml:"unaltered,omitempty" json:"unaltered,omitempty" jsonschema_description:"Calibration only: nothing is repaired, adjusted or changed, so the as-found run is the as-left run as well."`
	// Conformity "no": results are reported without a statement of conformity.
	Conformity string    `toml:"conformity,omitempty" json:"conformity,omitempty" jsonschema:"enum=yes,enum=no" jsonschema_description:"Whether the data sheet states conformity; yes unless stated. no: results only, as agreed with the customer."`
	Limited    []Limited `toml:"limited,omitempty" json:"limited,omitempty" jsonschema_description:"What this calibration leaves out or holds to wider limits, by agreement; shown on data sheet and label."`
}

// Limited is one limit of the scope of a calibration that was agreed on.
type Limited struct {
	What   string `toml:"what" json:"what" jsonschema_description:"What is left out or limited, such as input C above 3 GHz."`
	Why    string `toml:"why" json:"why" jsonschema_description:"Why."`
	Agreed string `toml:"agreed" json:"agreed" jsonschema_description:"Who of the customer agreed, and when."`
}

// Wrong is one thing that is wrong with a value, by its key.
type Wrong struct{ Key, Text string }

// Check says what can't be, whether it came from a file or from flags.
func (j *Job) Check() []Wrong {
	var list []Wrong
	add := func(key, format string, args ...any) { list = append(list, Wrong{key, fmt.Sprintf(format, args...)}) }
	if t := j.Temperature; t != nil && (t.Float() < -60 || t.Float() > 100) {
		add("temperature", "is %s; expected -60 °C to 100 °C", t)
	}
	if h := j.Humidity; h != nil && (h.Sign() < 0 || h.Float() > 1) {
		add("humidity", "is %s; expected 0 %% to 100 %%", h)
	}
	if m := j.Mains; m != nil && (m.Sign() < 0 || m.Float() > 1000) {
		add("mains", "is %s; expected 0 V to 1 kV", m)
	}
	if j.OnFor.Sign() < 0 || j.OnFor.Cmp(quantity.MustParse[quantity.Second]("36500 d")) > 0 {
		add("on_for", "is %s; expected 0 s to 36500 d", j.OnFor)
	}
	switch {
	case !j.Due.IsZero() && j.DueAgreed == "":
		add("due", "is %s, but due_agreed does not say who of the customer agreed to it; without that no due date may be printed (ISO/IEC 17025:2017 7.8.4.3)", j.Due)
	case j.Due.IsZero() && j.DueAgreed != "":
		add("due_agreed", "is there, but due is not; give the date that was agreed, such as due = 2027-05-31")
	}
	if j.NotReleased != "" && !j.Due.IsZero() {
		add("due", "is %s, but not_released says that the unit is not calibrated; leave one of them out", j.Due)
	}
	if j.Unaltered && j.Work != "" {
		add("unaltered", "is true, but work says what was done to the unit; leave one of them out")
	}
	if c := j.Conformity; c != "" && c != "yes" && c != "no" {
		add("conformity", "is %q; expected yes or no", c)
	}
	texts := []Wrong{{"number", j.Number}, {"customer", j.Customer}, {"asset", j.Asset}, {"serial", j.Serial}, {"technician", j.Technician}, {"authorised", j.Authorised}, {"work", j.Work}, {"remarks", j.Remarks}, {"due_agreed", j.DueAgreed}, {"not_released", j.NotReleased}}
	for k, l := range j.Limited {
		for _, x := range []Wrong{{"what", l.What}, {"why", l.Why}, {"agreed", l.Agreed}} {
			x.Key = fmt.Sprintf("limited[%d].%s", k, x.Key)
			if x.Text == "" {
				add(x.Key, "is empty; a limited scope states what, why and who agreed")
			}
			texts = append(texts, x)
		}
	}
	for _, x := range texts {
		if what := tomlfile.NotPlain(x.Text); what != "" {
			add(x.Key, "%s", what)
		}
	}
	return list
}

// Date is a calendar day; the zero value is no date.
type Date struct{ time.Time }

// UnmarshalText reads 2026-05-31; an empty text is no date.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Date{}
		return nil
	}
	t, err := time.Parse(time.DateOnly, string(text))
	if err != nil {
		return fmt.Errorf("%q is not a date; expected such as 2026-05-31", text)
	}
	d.Time = t
	return nil
}

// MarshalText writes 2026-05-31, or nothing for no date.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// MarshalJSON writes the date as a string; the embedded time's own form is not used.
func (d Date) MarshalJSON() ([]byte, error) { return []byte(`"` + d.String() + `"`), nil }

// UnmarshalJSON reads what MarshalJSON writes.
func (d *Date) UnmarshalJSON(data []byte) error {
	if len(data) < 2 || data[0] != '"' {
		return fmt.Errorf("%s is not a date in quotes", data)
	}
	return d.UnmarshalText(data[1 : len(data)-1])
}

// String writes 2026-05-31, or nothing for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Format(time.DateOnly)
}

// Pattern returns the regular expression of accepted texts and an example.
func (Date) Pattern() (pattern, example string) {
	return `^([0-9]{4}-[0-9]{2}-[0-9]{2})?$`, "2026-05-31"
}
