package procedures

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
)

// VSWR is a voltage standing wave ratio by sub-range, as data sheets state it:
// rising in frequency, each entry up to its frequency.
type VSWR []VSWREntry

// VSWREntry is one sub-range.
type VSWREntry struct {
	UpTo quantity.Frequency `toml:"up_to" json:"up_to"`
	VSWR quantity.Ratio     `toml:"vswr" json:"vswr"`
}

// TOMLList lets an entry be written as ["4 GHz", "1.5"].
func (*VSWREntry) TOMLList() {}

// reflection is |Γ| = (VSWR − 1)/(VSWR + 1) at f; ok is false where no VSWR is
// stated there.
func (v VSWR) reflection(f quantity.Frequency) (gamma float64, ok bool) {
	for _, e := range v {
		if f.Cmp(e.UpTo) <= 0 {
			s := e.VSWR.Float()
			return (s - 1) / (s + 1), true
		}
	}
	return 0, false
}

// reflection is |Γ| of the input in a 50 Ω line: as stated by its VSWR, and
// where it has a high impedance of what is connected, R ∥ C and a feed-through
// termination if there is one.
func (i Input) reflection(f quantity.Frequency, terminated bool) (gamma float64, ok bool) {
	if !i.HighImpedance() {
		return i.VSWR.reflection(f)
	}
	g, b := i.admittance(f, terminated)
	g, b = 50*g, 50*b
	return math.Hypot(1-g, b) / math.Hypot(1+g, b), true
}

// Mismatch is what two reflections that face each other may do to the level
// between them, as long as their phase is not known: by 20·log10(1 ± X) dB.
type Mismatch struct {
	Between string
	// X is |Γ1|·|Γ2|, times the loss of what lies between, there and back.
	X float64
}

// Limits are how far the level may lie below and above, in dB, both positive.
func (m Mismatch) Limits() (below, above float64) {
	return -20 * math.Log10(1-m.X), 20 * math.Log10(1+m.X)
}

// HalfWidth of the U-shaped distribution, in dB: the larger of the two limits.
func (m Mismatch) HalfWidth() float64 {
	below, _ := m.Limits()
	return below
}

// face is one place where a way reflects.
type face struct {
	name  string
	gamma float64
	back  bool    // reflects what comes back from the input; else what comes from the source
	after float64 // loss from the source to here, dB
}

// mismatches lists all pairs of reflections that face each other on the way
// from a source to an input, in first order: source and part, part and part,
// part and input, source and input. The loss between two takes effect there
// and back: X = |Γ1|·|Γ2|·10^(−loss/10), with loss in dB. That is the treatment
// of the worked example S7 of EA-4/02 (step attenuator between source
// and load). missing names what has no VSWR stated at f; its pairs are left out.
// loss says what of a part's loss may be counted on.
func (p Path) mismatches(s Source, i Input, f quantity.Frequency, loss func(Part) (float64, error)) (list []Mismatch, missing []string, err error) {
	var faces []face
	add := func(name string, gamma float64, ok, back bool, after float64) {
		if !ok {
			missing = append(missing, name)
			return
		}
		faces = append(faces, face{name, gamma, back, after})
	}
	gamma, ok := s.VSWR.reflection(f)
	add("source "+s.Name, gamma, ok, true, 0)
	near, hasNear := p.SourceEnd.reflection(f)
	far, hasFar := p.InputEnd.reflection(f)
	if hasNear {
		faces = append(faces, face{"path " + p.Name, near, false, 0})
	}
	after := 0.0
	for _, part := range p.Parts {
		x, err := loss(part)
		if err != nil {
			return nil, nil, err
		}
		// A part without a stated VSWR is taken as well matched against source
		// and input, which are what is badly matched (common practice, no source).
		if gamma, ok := part.VSWR.reflection(f); ok && !hasNear && !hasFar {
			faces = append(faces, face{part.Name, gamma, false, after}, face{part.Name, gamma, true, after + x})
		}
		after += x
	}
	if hasFar {
		faces = append(faces, face{"path " + p.Name, far, true, after})
	}
	gamma, ok = i.reflection(f, p.Termination)
	add("input "+i.Name, gamma, ok, false, after)
	for k, a := range faces {
		for _, b := range faces[k+1:] {
			if x := a.gamma * b.gamma * math.Pow(10, -(b.after-a.after)/10); a.back && !b.back && x > 0 {
				list = append(list, Mismatch{fmt.Sprintf("%s and %s", a.name, b.name), math.Min(x, mostMismatch)})
			}
		}
	}
	return list, missing, nil
}

// mostMismatch keeps total reflection at both ends finite, at 40 dB.
const mostMismatch = 0.99
