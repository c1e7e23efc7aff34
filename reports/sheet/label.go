package sheet

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// ErrNoLabel: the record allows no label; the error says why.
var ErrNoLabel = errors.New("no label")

// Label is the sticker for a unit: what its newest run allows it to say, and
// nothing more. It never says "calibrated" of a unit that is outside tolerance,
// not released, or whose run is incomplete, replaced or withdrawn.
type Label struct {
	*words
	size    LabelSize
	kind    labelKind
	status  string
	lines   []labelLine // in the order in which they stand
	code    string      // of the QR code; "" for none
	created time.Time
}

// labelKind is what the label says at a glance, also in black and white.
type labelKind int

const (
	labelCalibrated labelKind = iota // thin frame
	labelLimited                     // hatched band
	labelRejected                    // black band
)

// labelLine is one line. A line that must stand is never shortened or left out;
// of the others those with the greatest rank go first, and one that may be cut
// loses its middle.
type labelLine struct {
	text string
	bold bool
	must bool
	cut  bool
	rank int
	join bool // may stand beside the line before, where both fit
}

// Label lays out the label of the newest run of the sheet.
func (s *Sheet) Label(size LabelSize) (*Label, error) {
	r := s.last()
	kind, err := s.labelKind()
	if err != nil {
		return nil, fmt.Errorf("%w for record %s: %w", ErrNoLabel, r.ID, err)
	}
	l := &Label{words: s.words, size: size, kind: kind, created: r.Created}
	l.status = s.say([]key{"CALIBRATED", "LIMITED CALIBRATION", "REJECTED: DO NOT USE"}[kind])
	add := func(x labelLine) {
		if x.text != "" {
			x.text = oneLine(x.text)
			l.lines = append(l.lines, x)
		}
	}
	if s.invented() {
		add(labelLine{text: s.say("INVENTED, no calibration"), bold: true, must: true})
	}
	serial := r.Job.Serial
	if serial == "" && r.Run.Unit.Stated {
		serial = r.Run.Unit.Serial
	}
	if serial == "" && r.Job.Asset == "" {
		return nil, fmt.Errorf("%w for record %s: it states neither a serial number nor an asset number, and a label without them could be stuck to any unit", ErrNoLabel, r.ID)
	}
	add(labelLine{text: s.labelled1("Serial %s", serial), bold: true, must: true})
	add(labelLine{text: s.labelled1("Asset %s", r.Job.Asset), bold: true, must: true, join: true})
	add(labelLine{text: join(", ", r.Maker, r.Model), cut: true, rank: 4})
	when := s.say("Calibrated %s", r.day(r.Run.Finished))
	if kind == labelRejected {
		when = s.say("Found %s", r.day(r.Run.Finished))
	}
	add(labelLine{text: when, must: true})
	if j := r.Job; kind != labelRejected && !j.Due.IsZero() && j.DueAgreed != "" {
		add(labelLine{text: s.say("Due %s (as agreed)", j.Due.String()), bold: true, must: true, join: true})
	}
	for _, x := range s.labelHints(kind) {
		add(x)
	}
	hash, _ := s.fingerprint(r)
	add(labelLine{text: s.say("Record %s", tail(r.ID)), must: true})
	if hash != "" {
		add(labelLine{text: "SHA-256 " + hash[:16], rank: 2, join: true})
		l.code = strings.ToUpper(r.ID + " " + hash[:32])
	}
	add(labelLine{text: s.labelled1("By %s", r.Job.Technician), cut: true, rank: 3})
	add(labelLine{text: r.Laboratory.Name, cut: true, rank: 1, join: true})
	return l, nil
}

func (w *words) labelled1(k key, text string) string {
	if strings.TrimSpace(text) == "" {
		return ""
	}
	return w.say(k, text)
}

// tail is the end of an id, which differs most.
func tail(id string) string {
	r := []rune(id)
	if len(r) <= 12 {
		return id
	}
	return "…" + string(r[len(r)-8:])
}

// labelKind says what the newest run allows, or why it allows nothing.
func (s *Sheet) labelKind() (labelKind, error) {
	r := s.last()
	res := r.Run
	by, replaced := s.replaced[r.ID]
	switch {
	case r.Corrects != nil && r.Corrects.Withdrawn, replaced && by.Corrects != nil && by.Corrects.Withdrawn:
		return 0, errors.New("it was withdrawn")
	case replaced:
		return 0, fmt.Errorf("record %s takes its place; make the label of that one", by.ID)
	case r.Job.NotReleased != "":
		return labelRejected, nil
	case res.Statement == runner.NotObtainable:
		return labelRejected, nil
	case res.Statement == runner.Outside && s.isBare():
		return 0, errors.New("it states no conformity, as agreed with the customer, but results lie outside the specification; whoever sees \"calibrated\" on the unit might take it for good")
	case res.Statement == runner.Outside:
		return labelRejected, nil
	case res.Statement == runner.Incomplete || !res.Complete:
		return 0, errors.New("its run is incomplete")
	case len(res.Only) > 0:
		return 0, errors.New("it is an added run of single points; make the label of the whole run")
	case res.Kind == runner.AfterRepair:
		return 0, errors.New("the run after repair is not the last one: make the as-left run, and the label of its record")
	case res.Kind == runner.AsFound && !r.Job.Unaltered:
		return 0, errors.New("an as-found run does not tell how the unit leaves; make the as-left run, or, where nothing was repaired, adjusted or changed, say so in the job (unaltered = true; \"records correct\" adds it)")
	case res.Statement == runner.WithinAll && len(r.Job.Limited) == 0:
		return labelCalibrated, nil
	case res.Statement == runner.WithinAll, res.Statement == runner.WithinShown, res.Statement == runner.WithinPoints:
		return labelLimited, nil
	}
	return 0, fmt.Errorf("its statement is %q", res.Statement)
}

// labelHints say why a unit is rejected, or that and how the scope is limited.
func (s *Sheet) labelHints(kind labelKind) []labelLine {
	r := s.last()
	var list []labelLine
	switch kind {
	case labelRejected:
		why := r.word(string(r.Run.Statement))
		if r.Job.NotReleased != "" {
			why = s.say("not released: %s", r.Job.NotReleased)
		}
		list = append(list, labelLine{text: capital(why), cut: true, must: true})
	case labelLimited:
		list = append(list, labelLine{text: s.say("Limits of use: see the data sheet"), bold: true, must: true}, labelLine{text: s.labelScope(), cut: true, rank: 5})
	}
	if s.isBare() {
		list = append(list, labelLine{text: s.say("Results only, no conformity stated"), must: true})
	}
	return list
}

// labelScope is what is left out, as short as can be.
func (s *Sheet) labelScope() string {
	r := s.last()
	var list []string
	for _, x := range r.Job.Limited {
		list = append(list, x.What)
	}
	for _, in := range r.Run.Inputs {
		for _, x := range in.NotShown {
			list = append(list, s.say("%[1]s: not %[2]s", x.Input, s.to(s.q(x.From), s.q(x.To))))
		}
	}
	if r.Run.Statement == runner.WithinPoints && len(list) == 0 {
		list = []string{s.say("at the points shown")}
	}
	return strings.Join(list, "; ")
}

// LabelSize is that of a sticker.
type LabelSize struct{ Width, Height float64 } // mm

// UsualLabel is the size unless another is chosen.
var UsualLabel = LabelSize{50, 25}

// ParseLabelSize reads sizes such as 50x25mm.
func ParseLabelSize(text string) (LabelSize, error) {
	wrong := fmt.Errorf("%q is no size of a label; expected width and height in millimetres, such as 50x25mm, from 20x10mm to 200x200mm", text)
	a, b, ok := strings.Cut(strings.TrimSuffix(strings.ReplaceAll(strings.ToLower(text), "×", "x"), "mm"), "x")
	if !ok {
		return LabelSize{}, wrong
	}
	var sides [2]float64
	for k, x := range []string{a, b} {
		v, err := quantity.Parse[quantity.One](strings.TrimSpace(x))
		if err != nil {
			return LabelSize{}, wrong
		}
		sides[k] = v.Float()
	}
	s := LabelSize{sides[0], sides[1]}
	if !(s.Width >= 20 && s.Width <= 200 && s.Height >= 10 && s.Height <= 200) {
		return LabelSize{}, wrong
	}
	return s, nil
}

func (s LabelSize) String() string { return fmt.Sprintf("%g × %g mm", s.Width, s.Height) }

// PDF writes the label as a page of its size.
func (l *Label) PDF(out io.Writer) error { return l.pdf(out, l.created) }
