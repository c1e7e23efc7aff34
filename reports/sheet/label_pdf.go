package sheet

import (
	"fmt"
	"io"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
)

// hatchWidth is that of the hatched ends of the band of a limited calibration.
const hatchWidth = 12.0

func (l *Label) pdf(out io.Writer, created time.Time) error {
	const mm = 72 / 25.4
	d := &document{words: l.words, Title: l.status, Created: created}
	for _, x := range l.lines {
		d.Subject = join(", ", d.Subject, x.text)
	}
	w := &pdfWriter{page: page{pageWidth: l.size.Width * mm, pageHeight: l.size.Height * mm}, doc: d}
	var err error
	if w.regular, err = newFace("", liberationsansregular.TTF); err != nil {
		return fmt.Errorf("write label: font: %w", err)
	}
	if w.bold, err = newFace("B", liberationsansbold.TTF); err != nil {
		return fmt.Errorf("write label: font: %w", err)
	}
	p, err := l.plan(w)
	if err != nil {
		return err
	}
	w.open()
	w.pdf.AddPage()
	w.labelBand(l, p)
	y := p.band + 1
	for _, r := range p.rows {
		face := w.regular
		if r.bold {
			face = w.bold
		}
		y += p.size * labelLeading
		w.text(labelMargin, y-p.size*0.2, r.text, face, p.size)
	}
	w.labelCode(p)
	if err := w.pdf.Output(out); err != nil {
		return fmt.Errorf("write label: %w", err)
	}
	return nil
}

// labelBand says at a glance, also in black and white and from afar, what the
// label is: a thin frame, hatched ends and a dashed frame, or black.
func (w *pdfWriter) labelBand(l *Label, p labelPlan) {
	line := []float64{0.6, 1.2, 2.2}[l.kind]
	w.pdf.SetDrawColor(0, 0, 0)
	w.pdf.SetLineWidth(line)
	if l.kind == labelLimited {
		w.pdf.SetDashPattern([]float64{4, 2}, 0)
	}
	w.pdf.Rect(line/2, line/2, w.pageWidth-line, w.pageHeight-line, "D")
	w.pdf.SetDashPattern(nil, 0)
	x := (w.pageWidth - w.bold.width(l.status, p.status)) / 2
	y := p.band/2 + p.status*0.36
	switch l.kind {
	case labelRejected:
		w.pdf.SetFillColor(0, 0, 0)
		w.pdf.Rect(0, 0, w.pageWidth, p.band, "F")
		w.setFont(w.bold, p.status)
		w.pdf.SetTextColor(255, 255, 255)
		w.pdf.Text(x, y, visual(l.status))
		return
	case labelLimited:
		for _, from := range []float64{line, w.pageWidth - line - hatchWidth} {
			w.pdf.ClipRect(from, line, hatchWidth, p.band-line, false)
			w.pdf.SetLineWidth(1.6)
			for k := from - p.band; k < from+hatchWidth; k += 4 {
				w.pdf.Line(k, p.band, k+p.band, 0)
			}
			w.pdf.ClipEnd()
		}
	}
	w.rule(0, p.band, w.pageWidth, line)
	w.text(x, y, l.status, w.bold, p.status)
}

// labelCode draws the code at the lower right, on whole dots of a printer.
func (w *pdfWriter) labelCode(p labelPlan) {
	if p.code == nil {
		return
	}
	onDot := func(x float64) float64 { return float64(int(x/labelDot)) * labelDot }
	left, top := onDot(w.pageWidth-p.codeSide())+4*p.module, onDot(w.pageHeight-p.codeSide())+4*p.module
	w.pdf.SetFillColor(0, 0, 0)
	for y := range p.code.Size() {
		for x := 0; x < p.code.Size(); x++ {
			n := 0
			for p.code.Module(x+n, y) {
				n++
			}
			if n > 0 {
				w.pdf.Rect(left+float64(x)*p.module, top+float64(y)*p.module, float64(n)*p.module, p.module, "F")
				x += n
			}
		}
	}
}
