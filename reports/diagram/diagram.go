package diagram

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/reports/diagram/layered"
	"bandproof/runner/isolate"
)

// Options say what is drawn besides the stages and their connections. The zero
// value draws the model alone.
type Options struct {
	Title    string // "" for the model's name
	Subtitle string // a line below it: of which record; "" for the model's unit
	Notice   string // printed in a frame: "Invented example"; "" for none
	// Posterior shades the stages; nil for none.
	Posterior *isolate.Posterior
	Next      *isolate.Probe // the look that is marked as the next; nil for none
	Found     string         // the stage that is found at fault; "" for none
	Looked    []string       // test points that were looked at already
	// Width of the picture in print, mm. 0 for that of A4 landscape where its text
	// stays legible so, else for what it takes.
	Width float64
}

// Exonerated is the probability below which a stage is drawn plain.
const Exonerated = 0.01

// top is how many of the most probable stages have a thick border.
const top = 3

// SVG draws a network. Equal arguments give equal bytes.
func SVG(n *isolate.Network, o Options) ([]byte, error) {
	p := newPicture(n, o)
	if len(n.Model.Stages) == 0 {
		return nil, fmt.Errorf("diagram: block model %q has no stage", n.Model.Name)
	}
	p.drawing = layered.Layout(p.graph())
	return p.write(), nil
}

// picture is what is known of a drawing before it is written.
type picture struct {
	model   *isolate.Model
	o       Options
	stage   map[string]int
	blocks  []block
	lines   []line
	nets    []net
	drawing layered.Drawing
	c       canvas
}

// block is a stage with all that is drawn of it.
type block struct {
	isolate.Stage
	name        []string // in lines
	probability float64
	shaded      bool // it is more than plain
	rank        int  // among the most probable, from 1; 0 for none of them
	points      []isolate.TestPoint
	net         []int // that leave it
}

// line is one or more connections between two stages for one purpose.
type line struct {
	from, to, net int
	as            string
	says          []string
}

// net is the lines of one output.
type net struct {
	from  int
	as    string
	label string   // the frequency, short
	full  []string // and in full; "" where it is that at the input
}

func newPicture(n *isolate.Network, o Options) *picture {
	p := &picture{model: n.Model, o: o, stage: map[string]int{}}
	if p.o.Title == "" {
		p.o.Title = n.Model.Name
	}
	if p.o.Subtitle == "" && n.Model.Unit != p.o.Title {
		p.o.Subtitle = n.Model.Unit
	}
	if p.o.Notice == "" && strings.Contains(strings.ToLower(n.Model.Origin), "invented") {
		p.o.Notice = "Invented example"
	}
	for k, s := range n.Model.Stages {
		p.stage[s.Name] = k
		p.blocks = append(p.blocks, block{Stage: s, name: wrap(s.Name, nameSize, blockWidth-1.8, 2, false)})
	}
	for _, t := range n.Model.TestPoints {
		b := &p.blocks[p.stage[t.After]]
		b.points = append(b.points, t)
	}
	p.weigh()
	p.connect()
	return p
}

// weigh notes the probability of each stage.
func (p *picture) weigh() {
	if p.o.Posterior == nil {
		return
	}
	for k, s := range p.o.Posterior.Suspects() {
		at, known := p.stage[s.Stage]
		if !known {
			continue // it is of another model
		}
		b := &p.blocks[at]
		b.probability = s.Probability
		b.shaded = s.Probability >= Exonerated
		if b.shaded && k < top {
			b.rank = k + 1
		}
	}
}

// next is the test point that is marked after a stage; "" for none.
func (p *picture) next(b *block) string {
	if p.o.Next != nil && p.o.Next.After == b.Name {
		return p.o.Next.TestPoint
	}
	return ""
}

// looked tells whether all test points after a stage have been looked at.
func (p *picture) looked(b *block) bool {
	for _, t := range b.points {
		if !slices.Contains(p.o.Looked, t.Name) {
			return false
		}
	}
	return len(b.points) > 0
}
