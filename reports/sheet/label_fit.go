package sheet

import (
	"fmt"
	"slices"
	"strings"

	qr "github.com/piglig/go-qr"
)

// What a label is printed with: many printers of labels have 203 dots per inch,
// where letters smaller than 5 points are no longer read with ease.
const (
	labelDot     = 72.0 / 203 // points
	labelMargin  = 4.0
	labelLeast   = 5.0
	labelMost    = 9.0
	labelLeading = 1.17
)

// labelPlan is what fits on a label.
type labelPlan struct {
	band, status float64 // height of the band, size of its text
	size         float64 // of the lines
	rows         []labelRow
	code         *qr.QrCode // nil for none
	module       float64    // side of one of its squares
}

type labelRow struct {
	text string
	bold bool
}

// codeSide is the room of the code with the quiet zone of four squares around it
// (ISO/IEC 18004).
func (p labelPlan) codeSide() float64 {
	if p.code == nil {
		return 0
	}
	return float64(p.code.Size()+8) * p.module
}

// plan finds the largest letters with which all stands; where not even the
// smallest will do it leaves out what is least needed, then the code.
func (l *Label) plan(w *pdfWriter) (labelPlan, error) {
	p := labelPlan{band: max(10, min(w.pageHeight*0.19, 20))}
	p.status = min(p.band*0.72, 12)
	room := w.pageWidth - 2*labelMargin
	if l.kind == labelLimited {
		room -= 2 * hatchWidth
	}
	if wide := w.bold.width(l.status, p.status); wide > room {
		p.status *= room / wide
	}
	if p.status < labelLeast {
		return p, l.tooSmall(l.status)
	}
	ranks := []int{0}
	for _, x := range l.lines {
		ranks = append(ranks, x.rank)
	}
	slices.Sort(ranks)
	ranks = slices.Compact(ranks)
	for _, code := range l.codes(w.pageHeight - p.band) {
		p.code, p.module = code.code, code.module
		for _, rank := range ranks {
			for p.size = labelMost; p.size >= labelLeast; p.size -= 0.25 {
				if p.rows = l.rows(w, p, rank); p.rows != nil {
					return p, nil
				}
			}
		}
	}
	longest := slices.MaxFunc(l.lines, func(a, b labelLine) int {
		if a.must != b.must {
			return map[bool]int{true: 1, false: -1}[a.must]
		}
		return len(a.text) - len(b.text)
	})
	return p, l.tooSmall(longest.text)
}

func (l *Label) tooSmall(text string) error {
	return fmt.Errorf("%w: a label of %s has no room for all that must stand on it, the longest of it %q; choose a larger one with --size", ErrNoLabel, l.size, elided(text, 60))
}

type labelCode struct {
	code   *qr.QrCode
	module float64
}

// codes are the sizes of code to try, none at last: squares of whole dots of a
// printer, at most so high.
func (l *Label) codes(height float64) (list []labelCode) {
	if l.code != "" {
		if c, err := qr.EncodeText(l.code, qr.Medium); err == nil {
			for dots := 4; dots >= 2; dots-- {
				if m := float64(dots) * labelDot; float64(c.Size()+8)*m < height-2 {
					list = append(list, labelCode{c, m})
				}
			}
		}
	}
	return append(list, labelCode{})
}

// rows sets the lines at a size without those up to a rank; nil where they do
// not fit.
func (l *Label) rows(w *pdfWriter, p labelPlan, rank int) []labelRow {
	line := p.size * labelLeading
	most := int((w.pageHeight - p.band - labelMargin - 1) / line)
	rows := []labelRow{}
	width := func() float64 { // of the next row
		room := w.pageWidth - 2*labelMargin
		if bottom := p.band + 1 + float64(len(rows)+1)*line; bottom > w.pageHeight-p.codeSide() {
			room -= p.codeSide() - labelMargin
		}
		return room
	}
	for _, x := range l.lines {
		if x.rank > 0 && x.rank <= rank {
			continue
		}
		text, face := w.printable(x.text), w.regular
		if x.bold {
			face = w.bold
		}
		if n := len(rows) - 1; x.join && n >= 0 && (rows[n].bold || !x.bold) {
			both := rows[n].text + "   " + text
			f := w.regular
			if rows[n].bold {
				f = w.bold
			}
			last := rows[n]
			rows = rows[:n]
			if f.width(both, p.size) <= width() {
				rows = append(rows, labelRow{both, last.bold})
				continue
			}
			rows = append(rows, last)
		}
		room := width()
		switch {
		case face.width(text, p.size) <= room:
		case x.cut && room > 12*p.size:
			text = face.elide(text, room, p.size)
		case !x.must && x.cut:
			continue
		default:
			return nil
		}
		if rows = append(rows, labelRow{strings.TrimSpace(text), x.bold}); len(rows) > most {
			return nil
		}
	}
	return rows
}
