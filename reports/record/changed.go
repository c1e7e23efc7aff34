package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Finding is one thing that does not hold, in words.
type Finding struct {
	// Part is where in the record it is, as JSON pointer (RFC 6901); "" where it is
	// not within the record.
	Part string `json:"part,omitempty"`
	Text string `json:"text"`
	// Was and Is are the values of before and now as JSON, where they are known.
	Was string `json:"was,omitempty"`
	Is  string `json:"is,omitempty"`
}

// String is the finding on one line.
func (f Finding) String() string {
	if f.Was == "" && f.Is == "" {
		return f.Text
	}
	was, is := excerpts(f.Was, f.Is)
	return fmt.Sprintf("%s: was %s, is %s", f.Text, was, is)
}

// excerpts are two values from shortly before where they differ.
func excerpts(was, is string) (string, string) {
	const most, before = 120, 20
	a, b := []rune(was), []rune(is)
	at := 0
	for at < len(a) && at < len(b) && a[at] == b[at] {
		at++
	}
	from := 0
	if max(len(a), len(b)) > most {
		from = max(0, at-before)
	}
	cut := func(r []rune) string {
		if len(r) == 0 {
			return "not there"
		}
		begin := min(from, len(r))
		text := string(r[begin:min(len(r), begin+most)])
		if begin > 0 {
			text = "…" + text
		}
		if begin+most < len(r) {
			text += "…"
		}
		return text
	}
	return cut(a), cut(b)
}

// mostFindings bounds what is told of one record: who changed everything need
// not be told of everything.
const mostFindings = 50

const hashDiffers = "the record is not the one that was sealed (its SHA-256 differs)"

// where says which parts of the record are not those that were sealed; form is
// what is wrong with its form.
func (s Sealed) where(form error) []Finding {
	whole, err := recanonical(s.Bytes)
	if err == nil && Hash(whole) == s.Seal.Record {
		return []Finding{{Text: fmt.Sprintf("%s, though only its form was changed (white space, order, or how numbers and texts are spelled): all values are those that were sealed; it %v", hashDiffers, form)}}
	}
	now, err := partHashes(s.Bytes)
	if err != nil {
		return []Finding{{Text: fmt.Sprintf("%s, and it can't be read: %s", hashDiffers, notJSON(s.Bytes, err))}}
	}
	list := s.changedParts(now)
	if len(list) == 0 {
		return []Finding{{Text: hashDiffers + ", though none of its parts does: only what stands between them was changed"}}
	}
	return list
}

// changedParts compares the parts of the record with those that the seal names.
func (s Sealed) changedParts(now map[string]string) (list []Finding) {
	names := s.namer()
	for _, which := range []string{"/run/points/", "/run/outcomes/"} {
		list = append(list, changedEntries(which, entriesOf(s.Seal.Parts, which), entriesOf(now, which), names)...)
	}
	for part, was := range s.Seal.Parts {
		switch is, there := now[part]; {
		case isEntry(part):
		case !there:
			list = append(list, Finding{Part: part, Text: names(part) + " was taken out after sealing"})
		case is != was:
			list = append(list, Finding{Part: part, Text: names(part) + " was changed after sealing"})
		}
	}
	for part := range now {
		if _, sealed := s.Seal.Parts[part]; !sealed && !isEntry(part) {
			list = append(list, Finding{Part: part, Text: names(part) + " was added after sealing"})
		}
	}
	slices.SortStableFunc(list, func(a, b Finding) int { return comparePointers(a.Part, b.Part) })
	if more := len(list) - mostFindings; more > 0 {
		list = append(list[:mostFindings], Finding{Text: fmt.Sprintf("%d more parts of the record were changed", more)})
	}
	return list
}

func isEntry(part string) bool {
	return strings.HasPrefix(part, "/run/points/") || strings.HasPrefix(part, "/run/outcomes/")
}

// entriesOf are the hashes of points or tasks, in order.
func entriesOf(parts map[string]string, which string) (list []string) {
	for k := 0; ; k++ {
		h, ok := parts[which+strconv.Itoa(k)]
		if !ok {
			return list
		}
		list = append(list, h)
	}
}

// changedEntries tells points or tasks that were changed from those that merely
// have moved because others were taken out or added.
func changedEntries(which string, was, is []string, names func(string) string) (list []Finding) {
	begin := 0
	for begin < len(was) && begin < len(is) && was[begin] == is[begin] {
		begin++
	}
	end := 0
	for end < min(len(was), len(is))-begin && was[len(was)-1-end] == is[len(is)-1-end] {
		end++
	}
	was, is = was[:len(was)-end], is[:len(is)-end]
	for k := begin; k < max(len(was), len(is)); k++ {
		part := which + strconv.Itoa(k)
		switch {
		case k >= len(is):
			list = append(list, Finding{Part: part, Text: fmt.Sprintf("%s number %d (%s) was taken out after sealing", entryWord(which), k+1, part)})
		case k >= len(was):
			list = append(list, Finding{Part: part, Text: names(part) + " was added after sealing"})
		case was[k] != is[k]:
			list = append(list, Finding{Part: part, Text: names(part) + " was changed after sealing"})
		}
	}
	return list
}

func entryWord(part string) string {
	if strings.HasPrefix(part, "/run/points/") {
		return "point"
	}
	return "task"
}

// comparePointers sorts pointers with their numbers as numbers.
func comparePointers(a, b string) int {
	x, y := strings.Split(a, "/"), strings.Split(b, "/")
	return slices.CompareFunc(x, y, func(p, q string) int {
		m, e1 := strconv.Atoi(p)
		n, e2 := strconv.Atoi(q)
		if e1 == nil && e2 == nil {
			return m - n
		}
		return strings.Compare(p, q)
	})
}

// parts of a record in a technician's words, by the beginning of their pointers.
var partWords = map[string]string{
	"/schema": "the version of the record's form", "/id": "the record's id", "/follows": "which record it follows", "/corrects": "what it says of the record that it corrects",
	"/created": "the time at which the record was made", "/zone": "the bench's time zone", "/program": "the software that made the record",
	"/job": "the job (customer, unit, order)", "/laboratory": "the laboratory", "/logo": "the logo", "/maker": "the unit's maker", "/model": "the unit's model",
	"/procedure": "the procedure file", "/bench": "the bench file", "/standards": "the standards", "/cautions": "the cautions",
	"/adjustments": "the adjustments", "/invented": "the mark of invented data",
	"/run/unit": "what the unit said of itself", "/run/sources": "what the sources said of themselves", "/run/aids": "what the other instruments said of themselves",
	"/run/topology": "the reference topology", "/run/decision": "the decision rule", "/run/inputs": "the summary of the inputs", "/run/statement": "the statement of the run",
	"/run/entries": "what a person was asked and answered", "/run/events": "the events of the run", "/run/warnings": "the warnings of the run",
	"/run/overdue": "the standards past their due date", "/run/ambient": "the ambient conditions", "/run/warm_up": "the warm-up", "/run/sessions": "the sessions of the run",
	"/run/started": "the time at which the run began", "/run/finished": "the time at which the run ended", "/run/complete": "whether the run is complete",
}

// namer names parts of the record in a technician's words: points and tasks by
// their ids, where these can still be read.
func (s Sealed) namer() func(part string) string {
	var r struct {
		Run struct {
			Points   []struct{ Point struct{ ID string } }
			Outcomes []struct{ Task struct{ ID string } }
		}
	}
	_ = json.Unmarshal(s.Bytes, &r) // what can't be read is named by its number
	return func(part string) string {
		if name, ok := partWords[part]; ok {
			return fmt.Sprintf("%s (%s)", name, part)
		}
		if !isEntry(part) {
			return part
		}
		k, _ := strconv.Atoi(part[strings.LastIndexByte(part, '/')+1:])
		id := ""
		if entryWord(part) == "point" && k < len(r.Run.Points) {
			id = r.Run.Points[k].Point.ID
		} else if entryWord(part) == "task" && k < len(r.Run.Outcomes) {
			id = r.Run.Outcomes[k].Task.ID
		}
		if id == "" {
			id = fmt.Sprintf("number %d", k+1)
		}
		return fmt.Sprintf("%s %s (%s)", entryWord(part), id, part)
	}
}

// notJSON says where a text stops being JSON.
func notJSON(text []byte, err error) string {
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		at := max(int(syntax.Offset)-1, 0)
		return fmt.Sprintf("from byte %d on (%s) it is not JSON: %v", at, excerpt(text, at), syntax)
	}
	return err.Error()
}
