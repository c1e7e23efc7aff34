package uncertainty

// Row is one line of a budget as it is laid out.
type Row struct {
	Name         string       `json:"name"`
	Value        float64      `json:"value"`
	Distribution Distribution `json:"distribution"`
	Divisor      float64      `json:"divisor"`
	Standard     float64      `json:"standard_uncertainty"`
	Sensitivity  float64      `json:"sensitivity"`
	// Contribution is sensitivity times standard uncertainty, with its sign.
	Contribution     float64 `json:"contribution"`
	DegreesOfFreedom float64 `json:"degrees_of_freedom,omitempty"` // 0: infinitely many
	// Share of the combined variance, in %.
	Share  float64 `json:"share_percent"`
	Source string  `json:"source"`
}

// Covariance is what the correlation of two lines adds to the combined
// variance, or takes from it.
type Covariance struct {
	Correlation
	// Share of the combined variance, in %; negative where it takes away.
	Share float64 `json:"share_percent"`
}

// Table is a budget with all that a reader needs to compute it again.
type Table struct {
	Rows        []Row
	Covariances []Covariance
	Result      Result
	// Notes say what the formulas assume here.
	Notes []string
}

// Table lays a budget out. The shares of rows and covariances add up to 100 %
// unless the combined uncertainty is zero.
func (b Budget) Table(list []Correlation) (Table, error) {
	groups, err := b.groups(list)
	if err != nil {
		return Table{}, err
	}
	t := Table{Rows: make([]Row, len(b)), Covariances: make([]Covariance, len(list))}
	if t.Result, err = b.CombineCorrelated(list); err != nil {
		return Table{}, err
	}
	output := map[string]float64{}
	share := func(x, y float64) float64 {
		if t.Result.Standard == 0 {
			return 0
		}
		return 100 * (x / t.Result.Standard) * (y / t.Result.Standard)
	}
	for k, c := range b {
		t.Rows[k] = Row{Name: c.Name, Value: c.Value, Distribution: c.Distribution, Divisor: c.Divisor(), Standard: c.Standard,
			Sensitivity: c.Coefficient(), Contribution: c.Output(), DegreesOfFreedom: c.DegreesOfFreedom,
			Share: share(c.Output(), c.Output()), Source: c.Source}
		output[c.Name] = c.Output()
	}
	for k, x := range list {
		t.Covariances[k].Correlation = x
		if s := 2 * x.R * share(output[x.A], output[x.B]); s != 0 {
			t.Covariances[k].Share = s
		}
	}
	for _, g := range groups {
		if g.r != nil && g.degrees(b) > 0 {
			t.Notes = append(t.Notes, "Welch–Satterthwaite holds for independent contributions: "+g.names(b)+
				" entered it as one, with the smallest of their degrees of freedom")
		}
	}
	return t, nil
}
