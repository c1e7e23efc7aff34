package sheet

import (
	"cmp"
	"slices"
	"strings"
)

// A row has rowPad above and below its text, tightPad where that saves a page
// that would be nearly empty.
const (
	rowPad   = 1.1
	tightPad = 0.6
)

const (
	cellPad = 2.5
	fontMax = 7.5
	fontMin = 6.0
	// together is how many rows a table begins and ends a page with at least.
	together = 3
)

// grille is a table with its measures.
type grille struct {
	*table
	w      *pdfWriter
	size   float64
	widths []float64
	// whole and part are, for columns aligned on the point, the widest text
	// before the point and from the point on.
	whole, part []float64
}

// table sets a table, with its title and headings on every page it covers.
func (w *pdfWriter) table(t *table) {
	g := &grille{table: w.printableTable(t), w: w}
	g.measure()
	w.y += 5
	legend := w.regular.wrap(g.Legend, w.bodyWidth, smallSize)
	below := 2 + float64(len(legend))*smallSize*leading
	if g.Legend == "" {
		legend, below = nil, 0
	}
	least := g.headHeight(false) + float64(min(len(g.Rows), together))*(g.lineHeight()+2*w.rowPad)
	if len(g.Rows) <= together {
		least += below
	}
	w.need(least)
	g.head(false)
	for k, r := range g.Rows {
		if k > 0 && k == len(g.Rows)-together {
			g.keep(g.Rows[k:], below)
		}
		g.row(r)
	}
	if g.Legend != "" {
		w.y += 2
		w.flow(legend, marginX, w.regular, smallSize)
	}
	w.y += 4
}

func (w *pdfWriter) printableTable(t *table) *table {
	out := &table{Title: w.printable(t.Title), Legend: w.printable(t.Legend)}
	for _, c := range t.Columns {
		out.Columns = append(out.Columns, column{w.printable(c.Group), strings.ReplaceAll(w.printable(c.Head), " = ", "\u00a0=\u00a0"), c.Align})
	}
	for _, r := range t.Rows {
		row := make([]cell, len(t.Columns))
		for k := range row {
			if k < len(r) {
				row[k] = cell{w.printable(r[k].Text), r[k].Mark}
			}
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

func (g *grille) lineHeight() float64 { return g.size * leading }

func (g *grille) faceOf(m mark) *face {
	if m == plain {
		return g.w.regular
	}
	return g.w.bold
}

// measure finds the largest font at which all columns have room without odd
// breaks, and shares out what is left.
func (g *grille) measure() {
	for g.size = fontMax; ; g.size -= 0.25 {
		least, most := g.needs()
		switch {
		case total(most) <= g.w.bodyWidth:
			g.widths = most
			if t := total(most); t > 0.6*g.w.bodyWidth {
				g.spread(g.w.bodyWidth - t)
			} else {
				g.spread(0.15 * t)
			}
			return
		case total(least) <= g.w.bodyWidth:
			g.widths = grow(least, most, g.w.bodyWidth-total(least))
			return
		case g.size <= fontMin:
			g.widths = least
			for k := range g.widths {
				g.widths[k] *= g.w.bodyWidth / total(least)
			}
			return
		}
	}
}

// needs returns for each column the least width without odd breaks and the
// width at which nothing wraps.
func (g *grille) needs() (least, most []float64) {
	n := len(g.Columns)
	least, most = make([]float64, n), make([]float64, n)
	g.whole, g.part = make([]float64, n), make([]float64, n)
	for k, c := range g.Columns {
		token := g.w.bold.longestToken(c.Head, g.size)
		full := min(0.55*g.w.bold.width(c.Head, g.size), 70) // a heading may take two lines
		for _, r := range g.Rows {
			f := g.faceOf(r[k].Mark)
			text := 0.0
			for _, l := range strings.Split(r[k].Text, "\n") {
				text = max(text, f.width(l, g.size))
			}
			full = max(full, min(text, 330))
			if c.Align == left {
				token = max(token, min(f.longestToken(r[k].Text, g.size), 90))
			} else {
				token = max(token, min(text, 140))
			}
			if c.Align == point {
				a, b := g.w.doc.style.split(r[k].Text)
				g.whole[k], g.part[k] = max(g.whole[k], f.width(a, g.size)), max(g.part[k], f.width(b, g.size))
			}
		}
		if c.Align == point {
			aligned := min(g.whole[k]+g.part[k], 140)
			token, full = max(token, aligned), max(full, aligned)
		}
		least[k], most[k] = token+2*cellPad, max(full, token)+2*cellPad
	}
	return least, most
}

func total(list []float64) float64 {
	sum := 0.0
	for _, x := range list {
		sum += x
	}
	return sum
}

// spread gives every column but flags an equal share more.
func (g *grille) spread(extra float64) {
	n := 0.0
	for _, c := range g.Columns {
		if c.Head != "" {
			n++
		}
	}
	for k, c := range g.Columns {
		if c.Head != "" {
			g.widths[k] += extra / n
		}
	}
}

// grow shares extra among the columns that wrap: those that lack least get all
// of it, so that as few as possible wrap, and the rest the same each.
func grow(least, most []float64, extra float64) []float64 {
	out := slices.Clone(least)
	order := make([]int, len(least))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(most[a]-least[a], most[b]-least[b]) })
	for n, k := range order {
		more := min(most[k]-least[k], extra/float64(len(order)-n))
		out[k] += more
		extra -= more
	}
	return out
}

// groups returns, for each column that begins a group, how many it spans.
func (g *grille) groups() map[int]int {
	spans := map[int]int{}
	for k := 0; k < len(g.Columns); {
		n := 1
		for k+n < len(g.Columns) && g.Columns[k+n].Group == g.Columns[k].Group {
			n++
		}
		if g.Columns[k].Group != "" {
			spans[k] = n
		}
		k += n
	}
	return spans
}

func (g *grille) heads() (cells [][]string, most int) {
	for k, c := range g.Columns {
		cells = append(cells, g.w.bold.wrap(c.Head, g.widths[k]-2*cellPad, g.size))
		most = max(most, len(cells[k]))
	}
	return cells, most
}

func (g *grille) titleLines(again bool) []string {
	if g.Title == "" {
		return nil
	}
	title := g.Title
	if again {
		title = g.w.doc.say("%s (continued)", title)
	}
	return g.w.bold.wrap(title, g.w.bodyWidth, textSize+0.5)
}

func (g *grille) headHeight(again bool) float64 {
	_, n := g.heads()
	h := float64(n)*g.lineHeight() + 6 + float64(len(g.titleLines(again)))*(textSize+0.5)*leading
	if len(g.groups()) > 0 {
		h += g.lineHeight() + 3
	}
	return h
}

// head sets title, groups and headings.
func (g *grille) head(again bool) {
	w := g.w
	w.flow(g.titleLines(again), marginX, w.bold, textSize+0.5)
	w.y += 2
	w.rule(marginX, w.y, total(g.widths), 0.8)
	if spans := g.groups(); len(spans) > 0 {
		x := marginX
		for k := range g.Columns {
			if n, begins := spans[k]; begins {
				width := total(g.widths[k : k+n])
				label := w.bold.elide(g.Columns[k].Group, width, g.size)
				w.text(x+(width-w.bold.width(label, g.size))/2, w.y+g.size+1, label, w.bold, g.size)
				w.rule(x+2, w.y+g.lineHeight()+2, width-4, 0.3)
			}
			x += g.widths[k]
		}
		w.y += g.lineHeight() + 3
	}
	cells, n := g.heads()
	x := marginX
	for k, lines := range cells {
		for i, l := range lines {
			// Headings stand on the line below them.
			y := w.y + g.lineHeight()*float64(n-len(lines)+i) + g.size + 1
			tx := x + cellPad
			if g.Columns[k].Align != left {
				tx = x + g.widths[k] - cellPad - w.bold.width(l, g.size)
			}
			w.text(tx, y, l, w.bold, g.size)
		}
		x += g.widths[k]
	}
	w.y += float64(n)*g.lineHeight() + 4
	w.rule(marginX, w.y, total(g.widths), 0.8)
}

// row sets one row, whole on a page if a page can hold it.
func (g *grille) row(r []cell) {
	cells := make([][]string, len(r))
	rows := 1
	for k, c := range r {
		cells[k] = g.faceOf(c.Mark).wrap(c.Text, g.widths[k]-2*cellPad, g.size)
		rows = max(rows, len(cells[k]))
	}
	pad := g.w.rowPad
	height := func(n int) float64 { return float64(n)*g.lineHeight() + 2*pad }
	if g.w.y+height(rows) > g.w.bodyBottom {
		page := g.w.bodyBottom - bodyTop - g.headHeight(true)
		if height(rows) <= page || g.w.y+height(3) > g.w.bodyBottom {
			g.again()
		}
	}
	for from := 0; from < rows; {
		n := rows - from
		for n > 1 && g.w.y+height(n) > g.w.bodyBottom {
			n--
		}
		g.stretch(r, cells, from, n, pad, height(n))
		if from += n; from < rows {
			g.again()
		}
	}
}

// keep begins a new page unless this one holds these last rows with what stands
// below them; rows that are long themselves are not kept together.
func (g *grille) keep(last [][]cell, below float64) {
	h := below
	for _, r := range last {
		n := 1
		for k, c := range r {
			n = max(n, len(g.faceOf(c.Mark).wrap(c.Text, g.widths[k]-2*cellPad, g.size)))
		}
		h += float64(n)*g.lineHeight() + 2*g.w.rowPad
	}
	if g.w.y+h > g.w.bodyBottom && h < (g.w.bodyBottom-bodyTop)/3 {
		g.again()
	}
}

// again goes on with the table on a new page.
func (g *grille) again() {
	g.w.newPage()
	g.head(true)
}

// stretch draws lines from … from+n of a row.
func (g *grille) stretch(r []cell, cells [][]string, from, n int, pad, height float64) {
	w := g.w
	g.shade(r, height)
	x := marginX
	for k, c := range r {
		f := g.faceOf(c.Mark)
		lines := cells[k]
		for i := from; i < min(from+n, len(lines)); i++ {
			w.text(g.at(k, x, lines[i], f, len(lines)), w.y+pad+g.lineHeight()*float64(i-from)+g.size*0.98, lines[i], f, g.size)
		}
		x += g.widths[k]
	}
	w.y += height
	w.pdf.SetDrawColor(150, 150, 150)
	w.pdf.SetLineWidth(0.3)
	w.pdf.Line(marginX, w.y, marginX+total(g.widths), w.y)
	g.bars(height)
}

// shade darkens marked cells: fail most.
func (g *grille) shade(r []cell, height float64) {
	x := marginX
	for k, c := range r {
		if c.Mark != plain {
			grey := map[mark]int{failed: 212, conditional: 228, notJudged: 240}[c.Mark]
			g.w.pdf.SetFillColor(grey, grey, grey)
			g.w.pdf.Rect(x, g.w.y, g.widths[k], height, "F")
		}
		x += g.widths[k]
	}
}

// bars part the groups.
func (g *grille) bars(height float64) {
	x := marginX
	spans := g.groups()
	for k := range g.Columns {
		if _, begins := spans[k]; begins {
			g.w.pdf.SetDrawColor(0, 0, 0)
			g.w.pdf.SetLineWidth(0.6)
			g.w.pdf.Line(x, g.w.y-height, x, g.w.y)
		}
		x += g.widths[k]
	}
}

// at returns where a line of a cell begins.
func (g *grille) at(k int, x float64, s string, f *face, lines int) float64 {
	width := g.widths[k] - 2*cellPad
	switch {
	case g.Columns[k].Align == left || lines > 1:
		return x + cellPad
	case g.Columns[k].Align == point && g.whole[k]+g.part[k] <= width+0.01:
		a, _ := g.w.doc.style.split(s)
		return x + cellPad + width - g.part[k] - f.width(a, g.size)
	}
	return x + cellPad + width - f.width(s, g.size)
}
