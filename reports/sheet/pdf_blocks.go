package sheet

import (
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Sizes of text in points and the distance of lines relative to them.
const (
	textSize  = 8.5
	smallSize = 7.0
	leading   = 1.25
)

// tallRoom is what a heading wants with a grid, a chart and the first rows of a
// table below it.
const tallRoom = 320.0

// block puts one block on the page.
func (w *pdfWriter) block(b block) {
	switch b := b.(type) {
	case *heading:
		w.heading(b)
	case *paragraph:
		w.paragraph(b)
	case *notice:
		w.notice(b)
	case *grid:
		w.grid(b)
	case *table:
		w.table(b)
	case *notes:
		w.notes(b)
	case *chart:
		w.drawing(b.plot, chartHeight, b.Caption)
	case *graph:
		w.drawing(b.plot, graphHeight, b.Caption)
	case *signatures:
		w.signatures(b)
	}
}

func (w *pdfWriter) heading(h *heading) {
	size := 13.0
	if h.Level > 1 {
		size = 10
	}
	room := size + 70
	if h.Tall {
		room = tallRoom
	}
	w.need(room)
	s := w.printable(oneLine(h.Text))
	w.pdf.Bookmark(s, max(h.Level-1, 0), w.y)
	if w.y > bodyTop {
		w.y += 8
	}
	w.flow(w.bold.wrap(s, w.bodyWidth, size), marginX, w.bold, size)
	w.y += 3
}

// flow writes lines one below the other, on as many pages as they need.
func (w *pdfWriter) flow(lines []string, x float64, f *face, size float64) {
	for _, l := range lines {
		w.need(size * leading)
		w.y += size * leading
		w.text(x, w.y-size*0.25, l, f, size)
	}
}

// paragraph sets its label bold in a line of its own.
func (w *pdfWriter) paragraph(p *paragraph) {
	w.y += 4
	if p.Label != "" {
		w.need(3 * textSize * leading)
		w.flow(w.bold.wrap(w.printable(p.Label), w.bodyWidth, textSize), marginX, w.bold, textSize)
	}
	w.flow(w.regular.wrap(w.printable(p.Text), w.bodyWidth, textSize), marginX, w.regular, textSize)
	w.y += 2
}

func (w *pdfWriter) paragraphHeight(p *paragraph) float64 {
	n := len(w.regular.wrap(w.printable(p.Text), w.bodyWidth, textSize))
	if p.Label != "" {
		n += len(w.bold.wrap(w.printable(p.Label), w.bodyWidth, textSize))
	}
	return 6 + float64(n)*textSize*leading
}

// notes keeps its last lines together, so that none begins a page alone.
func (w *pdfWriter) notes(n *notes) {
	const size, together = 7.5, 3
	w.y += 4
	if n.Title != "" {
		w.need(3 * size * leading)
		w.flow([]string{w.printable(n.Title)}, marginX, w.bold, size+0.5)
	}
	wrapped := make([][]string, len(n.Lines))
	for k, l := range n.Lines {
		wrapped[k] = w.regular.wrap(w.printable(l), w.bodyWidth-10, size)
	}
	for k, lines := range wrapped {
		room := min(float64(len(lines)), 3) * size * leading
		if k == max(len(wrapped)-together, 0) {
			room = 0
			for _, x := range wrapped[k:] {
				room += float64(len(x)) * size * leading
			}
			if w.last {
				room += endHeight
			}
			room = min(room, (w.bodyBottom-bodyTop)/3)
		}
		w.need(room)
		w.text(marginX, w.y+size, "–", w.regular, size)
		w.flow(lines, marginX+10, w.regular, size)
	}
	w.y += 4
}

// notice frames its lines; one that is longer than the page goes on in a frame
// on the next.
func (w *pdfWriter) notice(n *notice) {
	const pad = 6.0
	type line struct {
		text string
		face *face
		size float64
	}
	var lines []line
	for _, l := range w.bold.wrap(w.printable(n.Title), w.bodyWidth-2*pad, 11) {
		lines = append(lines, line{l, w.bold, 11})
	}
	for _, x := range n.Lines {
		for _, l := range w.regular.wrap(w.printable(x), w.bodyWidth-2*pad, textSize) {
			lines = append(lines, line{l, w.regular, textSize})
		}
	}
	w.y += 4
	total := 2 * pad
	for _, l := range lines {
		total += l.size * leading
	}
	w.need(min(total, w.bodyBottom-bodyTop))
	for len(lines) > 0 {
		h, k := 2*pad, 0
		for k < len(lines) && (k == 0 || w.y+h+lines[k].size*leading <= w.bodyBottom) {
			h += lines[k].size * leading
			k++
		}
		w.frame(marginX, w.y, w.bodyWidth, h, n.Alert)
		y := w.y + pad
		for _, l := range lines[:k] {
			y += l.size * leading
			w.text(marginX+pad, y-l.size*0.25, l.text, l.face, l.size)
		}
		w.y += h
		if lines = lines[k:]; len(lines) > 0 {
			w.newPage()
		}
	}
	w.y += 2
}

func (w *pdfWriter) frame(x, y, width, height float64, heavy bool) {
	w.pdf.SetDrawColor(0, 0, 0)
	w.pdf.SetLineWidth(0.7)
	style := "D"
	if heavy {
		w.pdf.SetLineWidth(1.8)
		w.pdf.SetFillColor(235, 235, 235)
		style = "FD"
	}
	w.pdf.Rect(x, y, width, height, style)
}

// grid sets keys above their values, some to a row; a long value has the full
// width.
func (w *pdfWriter) grid(g *grid) {
	const gutter, most = 14.0, 5
	columns := max(g.Columns, 1)
	size := textSize
	if g.Small {
		size = 7.5
	}
	width := (w.bodyWidth - float64(columns-1)*gutter) / float64(columns)
	w.y += 2
	var pending []item
	flush := func() {
		w.gridRow(pending, width, gutter, size)
		pending = nil
	}
	for _, x := range g.Items {
		x = item{w.printable(x.Key), w.printable(x.Value)}
		if len(w.regular.wrap(x.Value, width, size)) > most {
			flush()
			w.gridLong(x)
			continue
		}
		if pending = append(pending, x); len(pending) == columns {
			flush()
		}
	}
	flush()
	w.y += 2
}

func (w *pdfWriter) gridRow(items []item, width, gutter, size float64) {
	if len(items) == 0 {
		return
	}
	cells := make([][]string, len(items))
	rows := 0
	for k, x := range items {
		cells[k] = w.regular.wrap(x.Value, width, size)
		rows = max(rows, len(cells[k]))
	}
	h := smallSize*leading + float64(rows)*size*leading + 3
	w.need(h)
	for k, x := range items {
		left := marginX + float64(k)*(width+gutter)
		w.text(left, w.y+smallSize, w.bold.elide(x.Key, width, smallSize-0.5), w.bold, smallSize-0.5)
		for n, l := range cells[k] {
			w.text(left, w.y+smallSize*leading+size*(leading*float64(n)+0.95), l, w.regular, size)
		}
	}
	w.y += h
}

func (w *pdfWriter) gridLong(x item) {
	w.need(4 * textSize * leading)
	w.y += smallSize * leading
	w.text(marginX, w.y-2, x.Key, w.bold, smallSize-0.5)
	w.flow(w.regular.wrap(x.Value, w.bodyWidth, textSize), marginX, w.regular, textSize)
	w.y += 4
}

// Heights of drawings, without their captions.
const (
	chartHeight = 128.0
	graphHeight = 140.0
)

// drawing draws a plot with its caption below.
func (w *pdfWriter) drawing(plot func(draw.Canvas), height float64, caption string) {
	lines := w.regular.wrap(w.printable(caption), w.bodyWidth, smallSize)
	w.need(height + 8 + float64(len(lines))*smallSize*leading)
	w.y += 4
	canvas := &pdfCanvas{w: w, x: marginX, y: w.y + height}
	vg.Initialize(canvas)
	plot(draw.NewCanvas(canvas, vg.Length(w.bodyWidth), vg.Length(height)))
	w.pdf.SetDashPattern(nil, 0)
	w.y += height
	w.flow(lines, marginX, w.regular, smallSize)
	w.y += 1
}

// signGutter parts the lines to sign on.
const signGutter = 30.0

func (w *pdfWriter) signWidth(s *signatures) float64 {
	n := float64(len(s.Lines))
	return (w.bodyWidth - (n-1)*signGutter) / n
}

// signTexts are the lines of text below each line to sign on.
func (w *pdfWriter) signTexts(s *signatures) [][]string {
	cells := make([][]string, len(s.Lines))
	for k, x := range s.Lines {
		cells[k] = w.regular.wrap(w.printable(w.doc.colon(x.Key, x.Value)), w.signWidth(s)-w.regular.width(w.doc.say("date, signature"), textSize)-8, textSize)
	}
	return cells
}

func (w *pdfWriter) signaturesHeight(s *signatures) float64 {
	h := 34.0
	for _, lines := range w.signTexts(s) {
		h = max(h, 34+float64(len(lines))*textSize*leading)
	}
	return h
}

// signatures have a line each with room to write.
func (w *pdfWriter) signatures(s *signatures) {
	if len(s.Lines) == 0 {
		return
	}
	width, cells := w.signWidth(s), w.signTexts(s)
	w.need(min(w.signaturesHeight(s), w.bodyBottom-bodyTop))
	top := w.y + 28
	mark := w.doc.say("date, signature")
	for k := range s.Lines {
		x := marginX + float64(k)*(width+signGutter)
		w.rule(x, top, width, 0.6)
		w.text(x+width-w.regular.width(mark, textSize), top+textSize*leading, mark, w.regular, textSize)
	}
	// Names may be longer than a page: they flow, one after the other.
	w.y = top
	for k, lines := range cells {
		if len(lines) <= 20 {
			for n, l := range lines {
				w.text(marginX+float64(k)*(width+signGutter), top+textSize*leading*float64(n+1), l, w.regular, textSize)
			}
			continue
		}
		w.y = top + textSize*leading
		w.flow(lines, marginX+float64(k)*(width+signGutter), w.regular, textSize)
	}
	w.y = max(w.y, top) + 26
}
