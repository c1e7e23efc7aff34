// Package observation is the kind of measurement "observation": what a person
// sees at the unit and no instrument can tell (connectors, display segments,
// keys, lamps, the reference input), as a yes or no with a free text. It has no
// uncertainty.
package observation

import (
	"fmt"
	"strings"

	"bandproof/procedures"
)

// Kind takes observations.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "observation" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	Asks []ask `toml:"asks" json:"asks" jsonschema_description:"Questions, in the order in which they are asked."`
}

// ask is one question.
type ask struct {
	Question string `toml:"question" json:"question" jsonschema_description:"What to look at, as a question that yes or no answers."`
	Expected string `toml:"expected,omitempty" json:"expected,omitempty" jsonschema:"enum=yes,enum=no" jsonschema_description:"The answer that a good unit gives; yes unless stated."`
	Judged   *bool  `toml:"judged,omitempty" json:"judged,omitempty" jsonschema_description:"Another answer fails the unit; true unless stated, else it is only reported."`
	Remark   bool   `toml:"remark,omitempty" json:"remark,omitempty" jsonschema_description:"A free text is asked for in any case, not only after another answer than the expected one."`
}

const (
	yes = "yes"
	no  = "no"
)

// wants is the answer of a good unit.
func (a ask) wants() string {
	if a.Expected == "" {
		return yes
	}
	return a.Expected
}

func (a ask) judged() bool { return a.Judged == nil || *a.Judged }

// Check implements procedures.Keys.
func (k *keys) Check(_ *procedures.Procedure, _ procedures.Measure) (wrong []procedures.Wrong) {
	if len(k.Asks) == 0 {
		wrong = append(wrong, procedures.Wrong{Key: "asks", Text: "has no question; give at least one"})
	}
	for n, a := range k.Asks {
		at := fmt.Sprintf("asks[%d]", n)
		if strings.TrimSpace(a.Question) == "" {
			wrong = append(wrong, procedures.Wrong{Key: at + ".question", Text: "is empty; ask what yes or no answers"})
		}
		if a.Expected != "" && a.Expected != yes && a.Expected != no {
			wrong = append(wrong, procedures.Wrong{Key: at + ".expected", Text: fmt.Sprintf("is %q; expected yes or no", a.Expected)})
		}
	}
	return wrong
}

// secondsEach is what a question takes, for the plan.
const secondsEach = 20

// Plan implements procedures.Keys: one task that needs no path, so that the
// person is asked while still at the bench.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	d.Add(m, procedures.Task{Seconds: float64(secondsEach * len(k.Asks))})
	return nil
}
