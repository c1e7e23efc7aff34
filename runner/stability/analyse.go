package stability

import (
	"context"
	"fmt"
	"math"
)

// Confidence is that of the intervals unless stated: the same level as for
// uncertainties.
const Confidence = 0.9545

// Request says what is computed.
type Request struct {
	Deviations  []Deviation
	Averaging   Averaging
	Confidence  float64 // of the two-sided intervals; zero means [Confidence]
	RemoveDrift bool    // take the linear drift of frequency off first
}

// Row is one deviation at one averaging time.
type Row struct {
	Deviation Deviation `json:"deviation"`
	Averaging int       `json:"averaging"`
	Tau       float64   `json:"tau_s"`
	N         int       `json:"n"` // differences that the value was computed from
	Value     float64   `json:"value"`
	Lower     float64   `json:"lower"`
	Upper     float64   `json:"upper"`
	Noise     Noise     `json:"noise"`
	NoiseFrom int       `json:"noise_from,omitempty"` // averaging factor at which the noise was identified
	Freedom   float64   `json:"equivalent_degrees_of_freedom"`
}

// Result is the table of deviations and what is to be known with it.
type Result struct {
	Count      int // values, gaps left out
	Gaps       int // between the first and the last value
	Confidence float64
	Drift      *Drift // nil where there are too few values for one
	Removed    bool   // the drift was taken off before the deviations
	Rows       []Row
	Notes      []string
}

// Analyse computes the table. The work is proportional to the values for each
// deviation and averaging factor; the context ends it between two of them.
func Analyse(ctx context.Context, s Series, q Request) (*Result, error) {
	if q.Confidence == 0 {
		q.Confidence = Confidence
	}
	if !(q.Confidence > 0 && q.Confidence < 1) {
		return nil, fmt.Errorf("confidence %v; expected a share between 0 and 1", q.Confidence)
	}
	if len(q.Deviations) == 0 {
		return nil, fmt.Errorf("no deviation is asked for")
	}
	for _, d := range q.Deviations {
		if err := d.check(); err != nil {
			return nil, err
		}
	}
	if err := s.check(); err != nil {
		return nil, err
	}
	r := &Result{Confidence: q.Confidence, Removed: q.RemoveDrift}
	drift, err := FitDrift(s)
	if err == nil {
		r.Drift = drift
	} else if q.RemoveDrift {
		return nil, err
	}
	if q.RemoveDrift {
		s = drift.Remove(s)
	}
	t, err := s.prepare()
	if err != nil {
		return nil, err
	}
	r.Gaps = t.gaps
	v, _ := s.trimmed()
	r.Count = len(v) - t.gaps
	if err := r.rows(ctx, s, t, q); err != nil {
		return nil, err
	}
	r.note(s)
	return r, nil
}

func (r *Result) rows(ctx context.Context, s Series, t *trace, q Request) error {
	type at struct{ m, order int }
	known := map[at]Noise{}
	for _, d := range q.Deviations {
		factors, err := q.Averaging.factors(d, t)
		if err != nil {
			return err
		}
		for _, m := range factors {
			if err := ctx.Err(); err != nil {
				return err
			}
			value, terms := d.of(t, m)
			if terms == 0 {
				if q.Averaging.Step == 0 {
					return fmt.Errorf("%w: %s with averaging factor %d: gaps leave nothing to compute from; expected a smaller factor", ErrData, d, m)
				}
				r.Notes = append(r.Notes, fmt.Sprintf("%s with averaging factor %d is left out: gaps leave nothing to compute from", d, m))
				continue
			}
			row := Row{Deviation: d, Averaging: m, Tau: float64(m) * s.tau0(), N: terms}
			if d == TDEV {
				value *= row.Tau / math.Sqrt(3)
			}
			key := at{m, d.order()}
			noise, ok := known[key]
			if !ok {
				noise = t.noise(m, d.order())
				known[key] = noise
			}
			row.Value, row.Noise, row.NoiseFrom = value, noise, noise.From
			row.Freedom = d.freedom(noise, m, terms, t.span())
			row.Lower, row.Upper = interval(value, row.Freedom, q.Confidence)
			for _, x := range []float64{row.Tau, row.Value, row.Lower, row.Upper, row.Freedom} {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					return fmt.Errorf("%w: %s with averaging factor %d: the values are too large to compute with", ErrData, d, m)
				}
			}
			r.Rows = append(r.Rows, row)
		}
	}
	if len(r.Rows) == 0 {
		return fmt.Errorf("%w: gaps leave nothing to compute from at any averaging factor", ErrData)
	}
	return nil
}

// note tells what a reader of the table has to know.
func (r *Result) note(s Series) {
	if r.Gaps > 0 {
		what := "terms that span one are left out"
		if s.Kind == Phase {
			what = "terms that need a missing point are left out"
		}
		r.Notes = append(r.Notes, fmt.Sprintf("missing values between the first and the last: %d; %s", r.Gaps, what))
	}
	if s.DeadTime.Sign() > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("dead time %s in each %s: the deviations are not corrected for it, and for noise other than white FM they differ from those without dead time", s.DeadTime, s.Tau0))
	}
	if r.Removed {
		r.Notes = append(r.Notes, "linear drift was removed before the deviations were computed; at the longest averaging times they come out low")
	}
	carried, unknown := false, false
	for _, row := range r.Rows {
		carried = carried || row.Noise.Known && row.Noise.From < row.Averaging
		unknown = unknown || !row.Noise.Known && row.Value > 0
	}
	if carried {
		r.Notes = append(r.Notes, fmt.Sprintf("where an averaging factor leaves fewer than %d values the noise type is that of a smaller factor", fewest))
	}
	if unknown {
		r.Notes = append(r.Notes, fmt.Sprintf("noise type unknown (fewer than %d values): the interval is the widest of all types", fewest))
	}
}
