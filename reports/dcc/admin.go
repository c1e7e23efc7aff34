package dcc

import (
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"

	"bandproof/reports/record"
)

// administrative is all but the results.
func (c *Certificate) administrative() administrative {
	l := c.last()
	return administrative{
		Software:   []software{{Name: *english("bandproof"), Release: stated(record.Version), Type: "application", Description: say("wrote this certificate from the records named in it")}},
		Core:       c.core(),
		Items:      []item{c.item()},
		Laboratory: c.laboratory(),
		Persons:    c.persons(),
		Customer:   c.contact(l.Job.Customer, l.Job.Contact, "", nil),
		Statements: c.statements(),
	}
}

func (c *Certificate) core() coreData {
	l := c.last()
	core := coreData{Country: c.o.Country, Used: language, Mandatory: language, ID: stated(l.ID), Received: l.Job.Received.String(), Place: place(l.Laboratory.Place)}
	add := func(ref string, by issuer, value, name string) {
		if value = word(value); value != "" {
			core.Identifications = append(core.Identifications, identification{ref, by, value, english(name)})
		}
	}
	add("", byLaboratory, l.Job.Number, "Order")
	for _, r := range c.runs {
		add("", byLaboratory, r.ID, "Record of the run "+strings.ToLower(r.label))
	}
	begin, end := c.runs[0].began(), c.runs[0].ended()
	for _, r := range c.runs {
		if t := r.began(); t.Before(begin) {
			begin = t
		}
		if t := r.ended(); t.After(end) {
			end = t
		}
	}
	core.Begin, core.End = begin.Format(time.DateOnly), end.Format(time.DateOnly)
	if c.v.IssueDate {
		core.IssueDate = c.issued()
	}
	core.Previous = c.previous()
	return core
}

// began and ended are in the zone of the bench: the day is that of the people there.
func (r run) began() time.Time {
	if r.Run.Started.IsZero() {
		return r.ended()
	}
	return r.local(r.Run.Started)
}

func (r run) ended() time.Time {
	if r.Run.Finished.IsZero() { // cut off: the record was made after it
		return r.local(r.Created)
	}
	return r.local(r.Run.Finished)
}

func (r run) local(t time.Time) time.Time { return r.Local(t) }

// issued is the date of issue.
func (c *Certificate) issued() string {
	if !c.o.Issued.IsZero() {
		return c.o.Issued.Format(time.DateOnly)
	}
	return c.last().local(c.last().Created).Format(time.DateOnly)
}

// previous refers to the record that the last one corrects by its hash, where
// that is known; the statements name it in any case.
func (c *Certificate) previous() *hashed {
	x := c.last().Corrects
	if x == nil || c.o.Hashes[x.ID] == "" {
		return nil
	}
	return &hashed{Referral: *english("Record that this one takes the place of"), ID: stated(x.ID), Procedure: "SHA-256", Value: c.o.Hashes[x.ID]}
}

// place is the word of the schema for where the work was done; a bench file
// names a place only where that is not at the laboratory's address.
func place(stated string) string {
	switch s := strings.ToLower(stated); {
	case strings.TrimSpace(s) == "":
		return "laboratory"
	case strings.Contains(s, "customer"):
		return "customer"
	}
	return "other"
}

func (c *Certificate) item() item {
	l := c.last()
	x := item{Name: free(join(" ", l.Maker, l.Model)), Maker: free(l.Maker), Model: word(l.Model),
		Description: say(prefixed("Options, as the customer states: ", l.Job.Options), prefixed("Condition on receipt: ", c.runs[0].Job.Condition))}
	add := func(by issuer, value, name string) {
		value = word(value)
		if value != "" && !slices.ContainsFunc(x.Identifications, func(i identification) bool { return i.Issuer == by && i.Value == value }) {
			x.Identifications = append(x.Identifications, identification{"", by, value, english(name)})
		}
	}
	add(byMaker, l.Job.Serial, "Serial number")
	for _, r := range c.runs {
		if r.Run.Unit.Stated {
			add(byMaker, r.Run.Unit.Serial, "Serial number that the unit states")
		}
	}
	add(byCustomer, l.Job.Asset, "Asset number, as the customer states")
	if len(x.Identifications) == 0 {
		add(byOther, notStated, "Serial number")
	}
	for _, r := range c.runs {
		release := word(r.Run.Unit.Firmware)
		if release != "" && !slices.ContainsFunc(x.Software, func(s software) bool { return s.Release == release }) {
			x.Software = append(x.Software, software{Name: *english("Firmware"), Release: release, Type: "firmware", Description: say("as the unit stated in the run " + strings.ToLower(r.label))})
		}
	}
	return x
}

func (c *Certificate) laboratory() contact {
	lab := c.last().Laboratory
	return c.contact(lab.Name, lab.Contact, c.o.Country, append(slices.Clone(lab.Address), prefixed("work done at: ", lab.Place)))
}

// telephone is what looks like a number to call.
var telephone = regexp.MustCompile(`^[+(]?[0-9][0-9 ()/.-]{4,}$`)

// contact takes what the record holds of somebody. An element eMail is required
// by some versions: where no mail address is among what is stated, it says so.
// All that is stated stands under further as well.
func (c *Certificate) contact(name, how, country string, lines []string) contact {
	x := contact{Name: free(name), Mail: mailAddress(how), Location: location{Country: country}}
	if x.Mail == "" && c.v.MailRequired {
		x.Mail = notStated
	}
	for _, part := range strings.FieldsFunc(how, func(r rune) bool { return r == ',' || r == ';' || r == '\n' }) {
		if p := word(part); x.Phone == "" && telephone.MatchString(p) {
			x.Phone = p
		}
	}
	further := &rich{}
	for _, s := range append(lines, how) {
		if s = clean(s); s != "" {
			further.Content = append(further.Content, content{Text: s})
		}
	}
	if further.Content == nil && country == "" {
		further = say(notStated)
	}
	if further.Content != nil {
		x.Location.Further = further
	}
	return x
}

// mailAddress is the first mail address in a text; "" where there is none.
func mailAddress(s string) string {
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(",; \n\t<>()", r) }) {
		part = strings.TrimPrefix(strings.TrimSuffix(part, "."), "mailto:")
		if a, err := mail.ParseAddress(part); err == nil && a.Address == part && word(part) == part {
			return part
		}
	}
	return ""
}

// persons are those who performed the runs, and who authorised the report; that
// one signs, else who performed the last run.
func (c *Certificate) persons() []person {
	var list []person
	for _, r := range c.runs {
		name := free(r.Job.Technician)
		k := slices.IndexFunc(list, func(p person) bool { return p.Name.Content[0].Text == name.Content[0].Text })
		if k < 0 {
			list = append(list, person{Name: name, Role: "performed the work", Description: say(r.label)})
			continue
		}
		list[k].Description.Content[0].Text += ", " + strings.ToLower(r.label)
	}
	if a := c.last().Job.Authorised; clean(a) != "" {
		return append(list, person{Name: free(a), Role: "checked and authorised the report", MainSigner: true})
	}
	signer := stated(c.last().Job.Technician)
	for k := range list {
		list[k].MainSigner = signer != notStated && list[k].Name.Content[0].Text == clean(c.last().Job.Technician)
	}
	return list
}
