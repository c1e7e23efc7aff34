package isolate

import (
	"math"

	"bandproof/runner/symptom"
)

// Evidence makes observations of what the points of a run show.
func Evidence(seen []symptom.Seen) []Observation {
	list := make([]Observation, 0, len(seen))
	for _, s := range seen {
		o := Observation{ID: s.Point, Input: s.Input, SelfTest: s.SelfTest, Frequency: s.Frequency, Kind: s.Kind,
			Powered: s.Powered, Says: s.Says, Readings: s.Readings, Sensitivity: s.Sensitivity, Gate: s.Gate}
		if !math.IsNaN(s.Margin) {
			o.Margin = &s.Margin
		}
		list = append(list, o)
	}
	return list
}
