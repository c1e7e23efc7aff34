package isolate

import (
	"cmp"
	"context"
	"slices"

	"bandproof/runner/symptom"
)

// ReportSchema names the version of a report as JSON.
const ReportSchema = "bandproof isolation 1"

// Subject is the unit and the run that a report is about.
type Subject struct {
	Record   string `json:"record"`
	Run      string `json:"run"`
	Unit     string `json:"unit"`
	Serial   string `json:"serial,omitempty"`
	Invented bool   `json:"invented,omitempty"`
}

// Report is where to look for the fault of a unit.
type Report struct {
	Schema string `json:"schema"`
	Subject
	// Shown is what the run shows, alike points together, Symptoms what that looks
	// like without a model.
	Shown    []Shown           `json:"shown"`
	Symptoms []symptom.Finding `json:"symptoms"`
	Entries  []Numbered        `json:"entries,omitempty"`
	// Doubts is what leaves open whether the fault is the unit's, or the record
	// worth reasoning from.
	Doubts []string `json:"doubts,omitempty"`
	// What follows is there with a model only.
	Model *Weighed `json:"model,omitempty"`
}

// Shown is points of an input that show the same.
type Shown struct {
	Input       string       `json:"input,omitempty"`
	SelfTest    bool         `json:"self_test,omitempty"`
	Sensitivity bool         `json:"sensitivity,omitempty"` // searches for the least level
	Kind        symptom.Kind `json:"seen"`
	Points      []string     `json:"points"`
	From        float64      `json:"from_hz,omitempty"`
	To          float64      `json:"to_hz,omitempty"`
	Says        string       `json:"says,omitempty"` // of the first
}

// Weighed is what follows with a model.
type Weighed struct {
	Name     string   `json:"name"`
	Unit     string   `json:"unit"`
	Cautions []string `json:"cautions"`
	// Assumptions is what the probabilities rest on.
	Assumptions []string  `json:"assumptions"`
	Good        float64   `json:"probability_of_no_fault"`
	Suspects    []Suspect `json:"suspects"`
	// Exonerated stages have a probability below 0.01, those with the same reasons
	// together.
	Exonerated []Exonerated `json:"exonerated,omitempty"`
	// Alike are suspects that the evidence does not tell apart.
	Alike       [][]string    `json:"not_told_apart,omitempty"`
	Unexplained []Observation `json:"not_explained,omitempty"`
	Outside     []Observation `json:"outside_the_model,omitempty"`
	Pairs       []Pair        `json:"pairs,omitempty"`
	// LeftOut bounds the probability of the pairs of faults that were not weighed.
	LeftOut float64 `json:"left_out_at_most"`
	// Found is the stage that is at fault with a probability of 0.95 or more, where
	// the evidence itself speaks for it against every other one or no look tells more.
	Found string `json:"found,omitempty"`
	// Next is the look that is worth most; none where the fault is found, where
	// nothing points to one, or where no look tells more.
	Next   *Proposal  `json:"next,omitempty"`
	Others []Proposal `json:"others,omitempty"`
	// Looks is how many more it takes on average, Next included.
	Looks      float64 `json:"looks_expected"`
	LooksExact bool    `json:"looks_exact"`
	Closed     string  `json:"closed,omitempty"` // as the person stated
}

// Exonerated is stages that are as good as cleared, and by what.
type Exonerated struct {
	Stages []string `json:"stages"`
	By     []string `json:"by,omitempty"`
	Leaves []string `json:"does_not_explain,omitempty"` // where nothing speaks against
}

// runnersUp is how many looks are named beside the best.
const runnersUp = 3

// leastPair is the probability from which on a pair of faults is named.
const leastPair = 0.01

// Report says where to look. Cautions are those of the record.
func (c *Case) Report(ctx context.Context, of Subject, cautions []string) (*Report, error) {
	r := &Report{Schema: ReportSchema, Subject: of, Shown: pointByPoint(c.Seen), Symptoms: c.Findings, Entries: Number(c.Entries), Doubts: c.Doubts}
	if c.Network == nil {
		return r, nil
	}
	post, err := c.Posterior(ctx)
	if err != nil {
		return nil, err
	}
	m := c.Network.Model
	if other := c.Network.otherUnit(of.Unit); other != "" {
		r.Doubts = append(slices.Clone(r.Doubts), other)
	}
	w := &Weighed{Name: m.Name, Unit: m.Unit, Cautions: c.Network.cautions(cautions), Assumptions: c.Network.Assumptions(), Good: post.Good(), Suspects: post.Suspects(),
		Unexplained: post.Unexplained(), Outside: post.Outside, Pairs: post.Pairs(leastPair), LeftOut: post.Lost, Closed: c.Closed()}
	w.Exonerated = exonerated(w.Suspects)
	w.Alike = Alike(w.Suspects, LeastSuspect)
	r.Model = w
	return r, c.advise(ctx, post, w)
}

// LeastSuspect is the probability below which a stage is taken for good.
const LeastSuspect = 0.01

func exonerated(list []Suspect) []Exonerated {
	var out []Exonerated
	for _, s := range list {
		if s.Probability >= LeastSuspect {
			continue
		}
		one := Exonerated{By: s.Against}
		if len(one.By) == 0 {
			one.Leaves = s.Leaves
		}
		k := slices.IndexFunc(out, func(x Exonerated) bool { return slices.Equal(x.By, one.By) && slices.Equal(x.Leaves, one.Leaves) })
		if k < 0 {
			k, out = len(out), append(out, one)
		}
		out[k].Stages = append(out[k].Stages, s.Stage)
	}
	return out
}

// advise says what to do next.
func (c *Case) advise(ctx context.Context, post *Posterior, w *Weighed) error {
	w.Found, _ = post.Settled()
	if w.Found != "" || w.Closed != "" || w.Good >= Found {
		w.LooksExact = true
		return nil
	}
	list, err := c.Proposals(ctx)
	if err != nil {
		return err
	}
	for k := range list {
		switch {
		case !list[k].TellsMore():
		case w.Next == nil:
			w.Next = &list[k]
		case len(w.Others) < runnersUp && !w.has(list[k].TestPoint):
			w.Others = append(w.Others, list[k])
		}
	}
	if w.Next == nil {
		if top := w.Suspects; len(top) > 0 && top[0].Probability >= Found {
			w.Found, w.LooksExact = top[0].Stage, true
		}
		return nil
	}
	w.Looks, w.LooksExact, err = post.Expected(ctx, c.Done())
	w.Looks = max(w.Looks, 1) // the next one makes sure, where it is likely enough already
	return err
}

// has tells whether a test point is proposed already.
func (w *Weighed) has(point string) bool {
	return w.Next.TestPoint == point || slices.ContainsFunc(w.Others, func(p Proposal) bool { return p.TestPoint == point })
}

// pointByPoint puts alike points together, input by input in the order taken.
func pointByPoint(seen []symptom.Seen) []Shown {
	var list []Shown
	inputs := map[string]int{}
	for _, s := range seen {
		if _, ok := inputs[s.Input]; !ok {
			inputs[s.Input] = len(inputs)
		}
		k := slices.IndexFunc(list, func(x Shown) bool {
			return x.Input == s.Input && x.SelfTest == s.SelfTest && x.Sensitivity == s.Sensitivity && x.Kind == s.Kind
		})
		if k < 0 {
			k = len(list)
			list = append(list, Shown{Input: s.Input, SelfTest: s.SelfTest, Sensitivity: s.Sensitivity, Kind: s.Kind, From: s.Frequency, To: s.Frequency, Says: s.Says})
		}
		x := &list[k]
		x.Points = append(x.Points, s.Point)
		x.From, x.To = min(x.From, s.Frequency), max(x.To, s.Frequency)
	}
	slices.SortStableFunc(list, func(a, b Shown) int { return cmp.Compare(inputs[a.Input], inputs[b.Input]) })
	return list
}

// OnePerPoint keeps the best look at each test point.
func OnePerPoint(list []Proposal) []Proposal {
	var out []Proposal
	for _, p := range list {
		if !slices.ContainsFunc(out, func(x Proposal) bool { return x.TestPoint == p.TestPoint }) {
			out = append(out, p)
		}
	}
	return out
}
