package history

import (
	"cmp"
	"fmt"
	"slices"

	"bandproof/reports/record"
)

// inForce leaves out records that another one corrects or withdraws, and the
// withdrawals themselves, and names them.
func (h *History) inForce(records []record.Record) []record.Record {
	records = slices.Clone(records)
	slices.SortStableFunc(records, func(a, b record.Record) int {
		return cmp.Or(a.Created.Compare(b.Created), cmp.Compare(a.ID, b.ID))
	})
	by := map[string]record.Record{} // the newest that corrects a record
	for _, r := range records {
		if r.Corrects != nil {
			by[r.Corrects.ID] = r
		}
	}
	var list []record.Record
	for _, r := range records {
		c, replaced := by[r.ID]
		switch {
		case replaced && c.Corrects.Withdrawn:
			h.LeftOut = append(h.LeftOut, fmt.Sprintf("record %s is withdrawn by %s: %s", r.ID, c.ID, c.Corrects.Reason))
		case replaced:
			h.LeftOut = append(h.LeftOut, fmt.Sprintf("record %s is corrected by %s, which takes its place: %s", r.ID, c.ID, c.Corrects.Reason))
		case r.Corrects != nil && r.Corrects.Withdrawn:
			// It withdraws another and says nothing itself.
		case r.Corrects != nil && by[r.Corrects.ID].ID != r.ID:
			h.LeftOut = append(h.LeftOut, fmt.Sprintf("record %s corrects %s, and so does the newer %s, which takes its place", r.ID, r.Corrects.ID, by[r.Corrects.ID].ID))
		default:
			list = append(list, r)
		}
	}
	return list
}
