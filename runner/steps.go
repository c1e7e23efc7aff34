package runner

import (
	"context"
	"encoding/json"
	"fmt"

	"bandproof/procedures"
)

// stepKept is what is kept of one frequency of a task.
type stepKept struct {
	Row   Row           `json:"row"`
	Shots []PointResult `json:"shots"`
}

// ByFrequency takes a task that has a row for each of its points, one after the
// other. Each is kept as soon as it is taken, and one that was kept before an
// interruption is not taken again. The outcome has rows, shots and standards.
func (s *Station) ByFrequency(ctx context.Context, take func(ctx context.Context, p procedures.Point) (Row, []PointResult, error)) (Outcome, error) {
	o := Outcome{Standards: s.Standards(s.task.Points...)}
	for n, p := range s.task.Points {
		var at stepKept
		var err error
		if n < len(s.kept) {
			if err = json.Unmarshal(s.kept[n], &at); err != nil {
				return o, fmt.Errorf("%w: step %d of %s: %w", ErrJournal, n+1, s.task.ID, err)
			}
		} else {
			if at.Row, at.Shots, err = take(ctx, p); err != nil {
				return o, err
			}
			if err = s.Keep(ctx, at); err != nil {
				return o, err
			}
			s.Event(ctx, fmt.Sprintf("%s: %s at %s: %s", s.task.ID, at.Row.What, p.Frequency, at.Row.Says))
		}
		o.Rows, o.Shots = append(o.Rows, at.Row), append(o.Shots, at.Shots...)
	}
	return o, nil
}
