package sheet

import (
	"slices"
	"strings"
)

// Widths in columns: between columns, of a text that is wrapped at least, and
// of a number and a heading's word that are not broken at most.
const (
	textGutter  = 2
	textLeast   = 18
	textNumber  = 34
	textHead    = 12
	textNatural = 60
)

// textTable is a table with its measures.
type textTable struct {
	*table
	w *textWriter
	// least is the width without odd breaks, most the one at which nothing wraps.
	least, most []int
	// part is, for columns on the point, the widest text from the point on.
	part []int
}

func (w *textWriter) table(t *table) {
	x := &textTable{table: t, w: w}
	x.measure()
	if t.Title != "" {
		w.underlined(t.Title, "-")
	}
	for _, columns := range x.parts() {
		w.gap()
		x.write(columns)
	}
	if t.Legend != "" {
		w.gap()
		w.wrapped("", t.Legend)
	}
}

// text is that of a cell, with the sign of its mark where the row has none in a
// column of its own.
func (t *textTable) text(r []cell, k int) string {
	switch {
	case k >= len(r):
		return ""
	case r[k].Mark == plain || hasSign(r, r[k].Mark):
		return r[k].Text
	}
	return join(" ", r[k].Mark.flag(), r[k].Text)
}

func hasSign(r []cell, m mark) bool {
	return slices.ContainsFunc(r, func(c cell) bool { return strings.Contains(c.Text, m.flag()) })
}

func (t *textTable) measure() {
	n := len(t.Columns)
	t.least, t.most, t.part = make([]int, n), make([]int, n), make([]int, n)
	for k, c := range t.Columns {
		head := widestWord(c.Head)
		t.least[k], t.most[k] = max(min(head, textHead), 1), max(min(columnsOf(c.Head), textHead), head)
		whole := 0
		for _, r := range t.Rows {
			s := t.text(r, k)
			if c.Align == point {
				a, b := t.w.doc.style.split(s)
				whole, t.part[k] = max(whole, columnsOf(a)), max(t.part[k], columnsOf(b))
			}
			width := 0
			for l := range strings.SplitSeq(s, "\n") {
				width = max(width, columnsOf(l))
			}
			t.most[k] = max(t.most[k], min(width, textNatural))
			if c.Align == left {
				t.least[k] = max(t.least[k], min(widestWord(s), textLeast))
			} else {
				t.least[k] = max(t.least[k], min(width, textNumber))
			}
		}
		if c.Align == point {
			t.least[k] = max(t.least[k], min(whole+t.part[k], textNumber))
		}
		t.most[k] = max(t.most[k], t.least[k])
	}
}

// widestWord is the width that a text needs to break at spaces only.
func widestWord(s string) int {
	most := 0
	for word := range strings.FieldsFuncSeq(s, breaking) {
		most = max(most, columnsOf(word))
	}
	return most
}

// parts shares the columns out: all in one part if they have room, else several
// that begin with the first column again; columns of one group stay together
// where they fit, and a flag stays with what it flags. Of all ways that need no
// more parts it takes the one that leaves the columns widest.
func (t *textTable) parts() [][]int {
	units := t.units()
	fewest := t.pack(units, 0)
	for wish := 100; wish > 0; wish -= 20 {
		if parts := t.pack(units, wish); len(parts) == len(fewest) {
			return parts
		}
	}
	return fewest
}

// pack fills parts with units, with wish per cent of what the columns want
// beyond their least width.
func (t *textTable) pack(units [][]int, wish int) [][]int {
	var parts [][]int
	current := []int{0}
	for _, unit := range units {
		next := append(slices.Clone(current), unit...)
		if sumOf(t.least, next)+wish*(sumOf(t.most, next)-sumOf(t.least, next))/100 <= t.w.columns || len(current) == 1 {
			current = next
			continue
		}
		parts = append(parts, current)
		current = append([]int{0}, unit...)
	}
	return append(parts, current)
}

func (t *textTable) fits(columns []int) bool { return sumOf(t.least, columns) <= t.w.columns }

func sumOf(widths []int, columns []int) int {
	sum := -textGutter
	for _, k := range columns {
		sum += widths[k] + textGutter
	}
	return sum
}

// units are the columns after the first that must not be parted.
func (t *textTable) units() [][]int {
	var units [][]int
	for k := 1; k < len(t.Columns); {
		n := 1
		for t.Columns[k].Group != "" && k+n < len(t.Columns) && t.Columns[k+n].Group == t.Columns[k].Group {
			n++
		}
		unit := make([]int, n)
		for i := range unit {
			unit[i] = k + i
		}
		k += n
		if t.fits(append([]int{0}, unit...)) {
			units = append(units, unit)
			continue
		}
		for i := 0; i < len(unit); {
			m := 1
			for i+m < len(unit) && t.Columns[unit[i+m-1]].Head == "" {
				m++
			}
			units = append(units, unit[i:i+m])
			i += m
		}
	}
	return units
}

// widths of the columns of a part: as wide as they want to be if there is room,
// else what is over is shared out by what each lacks.
func (t *textTable) widths(columns []int) []int {
	out := make([]int, len(columns))
	room, lack := t.w.columns-sumOf(t.least, columns), sumOf(t.most, columns)-sumOf(t.least, columns)
	for i, k := range columns {
		out[i] = t.least[k]
		if lack > 0 && room > 0 {
			out[i] += min(t.most[k]-t.least[k], room*(t.most[k]-t.least[k])/lack)
		}
	}
	if room < 0 { // two columns that are too wide together
		for i := range out {
			out[i] = max(1, (t.w.columns-textGutter*(len(out)-1))/len(out))
		}
	}
	return out
}

// write sets one part: groups, headings, and rows between two rules whose strokes
// are as wide as the columns. A row of several lines has an empty line on both
// sides.
func (t *textTable) write(columns []int) {
	widths := t.widths(columns)
	t.groups(columns, widths)
	heads := make([][]string, len(columns))
	most := 0
	for i, k := range columns {
		heads[i] = t.w.wrap(t.Columns[k].Head, widths[i])
		most = max(most, len(heads[i]))
	}
	for i := range heads {
		heads[i] = append(make([]string, most-len(heads[i])), heads[i]...)
	}
	t.lines(columns, widths, heads, false)
	rule := make([]string, len(columns))
	for i := range rule {
		rule[i] = strings.Repeat("-", widths[i])
	}
	edge := strings.Join(rule, strings.Repeat(" ", textGutter))
	t.w.line(edge)
	apart := false
	for _, r := range t.Rows {
		cells := make([][]string, len(columns))
		n := 1
		for i, k := range columns {
			cells[i] = t.w.wrap(t.text(r, k), widths[i])
			n = max(n, len(cells[i]))
		}
		if (apart || n > 1) && &r[0] != &t.Rows[0][0] {
			t.w.gap()
		}
		t.lines(columns, widths, cells, true)
		apart = n > 1
	}
	t.w.line(edge)
}

// groups writes a heading over the columns of each group.
func (t *textTable) groups(columns []int, widths []int) {
	var spans []int
	var texts [][]string
	most := 0
	for i := 0; i < len(columns); {
		width, n := widths[i], 1
		group := t.Columns[columns[i]].Group
		for i+n < len(columns) && t.Columns[columns[i+n]].Group == group {
			width += widths[i+n] + textGutter
			n++
		}
		var lines []string
		if group != "" {
			lines = t.w.wrap(group, max(width-4, 1))
		}
		most = max(most, len(lines))
		spans, texts = append(spans, width), append(texts, lines)
		i += n
	}
	for n := range most {
		var line strings.Builder
		for k, width := range spans {
			text := ""
			if from := most - len(texts[k]); n >= from { // they stand on the headings below
				sign := " "
				if n == most-1 && len(texts[k]) > 0 {
					sign = "."
				}
				text = centred(" "+nth(texts[k], n-from)+" ", sign, width)
			}
			line.WriteString(padded(text, width, false) + strings.Repeat(" ", textGutter))
		}
		t.w.line(line.String())
	}
}

// lines sets the lines of one row side by side.
func (t *textTable) lines(columns []int, widths []int, cells [][]string, body bool) {
	rows := 0
	for _, c := range cells {
		rows = max(rows, len(c))
	}
	for n := range rows {
		var line strings.Builder
		for i, k := range columns {
			s, a := nth(cells[i], n), t.Columns[k].Align
			right := a != left && (!body || len(cells[i]) == 1)
			if right && body && a == point {
				_, part := t.w.doc.style.split(s)
				if pad := t.part[k] - columnsOf(part); columnsOf(s)+pad <= widths[i] {
					s += strings.Repeat(" ", pad)
				}
			}
			line.WriteString(padded(s, widths[i], right) + strings.Repeat(" ", textGutter))
		}
		t.w.line(line.String())
	}
}
