package isolate

import (
	"fmt"
	"time"
)

// EntryKind is what a person entered while looking for a fault.
type EntryKind string

// Kinds of entries.
const (
	Looked   EntryKind = "look"     // what was seen at a test point
	Prepared EntryKind = "prepared" // what test points need was done: a board is out
	Revoked  EntryKind = "revoked"  // an earlier entry does not count any more
	Closed   EntryKind = "found"    // the fault is found, says the person
)

// Entry is one thing that a person entered. Entries are kept as they come and
// never changed; a later one may revoke an earlier one.
type Entry struct {
	ID     string    `json:"id"`
	Record string    `json:"record"` // whose unit it is about
	Kind   EntryKind `json:"what"`
	At     time.Time `json:"at"`
	Who    string    `json:"who,omitempty"`
	Text   string    `json:"text"` // as entered
	// Seen is what it says of a test point, as understood when it was entered.
	Seen    *Observation `json:"seen,omitempty"`
	Revokes string       `json:"revokes,omitempty"` // the id of an entry
}

// Numbered is an entry with the number by which a person names it.
type Numbered struct {
	Number int `json:"number"`
	Entry
	Gone bool `json:"revoked,omitempty"`
}

// Number numbers all entries but revocations from 1, in the order in which they
// were entered, and says which were revoked.
func Number(list []Entry) []Numbered {
	gone := map[string]bool{}
	for _, e := range list {
		if e.Kind == Revoked {
			gone[e.Revokes] = true
		}
	}
	var out []Numbered
	for _, e := range list {
		if e.Kind != Revoked {
			out = append(out, Numbered{len(out) + 1, e, gone[e.ID]})
		}
	}
	return out
}

// Revoke is the entry that revokes number n of a list.
func Revoke(list []Entry, n int) (Entry, error) {
	all := Number(list)
	switch {
	case len(all) == 0:
		return Entry{}, fmt.Errorf("%d: nothing was entered yet", n)
	case n < 1 || n > len(all):
		return Entry{}, fmt.Errorf("%d: no entry has this number; they go from 1 to %d", n, len(all))
	case all[n-1].Gone:
		return Entry{}, fmt.Errorf("%d: was revoked already (%q)", n, all[n-1].Text)
	}
	return Entry{Kind: Revoked, Text: fmt.Sprintf("%d: %s", n, all[n-1].Text), Revokes: all[n-1].ID}, nil
}
