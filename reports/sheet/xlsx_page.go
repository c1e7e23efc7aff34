package sheet

import (
	"math"
	"strings"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

// paperSizes are papers as worksheets number them (ISO/IEC 29500-1, 18.3.1.63
// pageSetup, attribute paperSize).
var paperSizes = map[string]int{"A4": 9, "Letter": 1}

// fit makes a worksheet as wide as the paper in print.
func (b *book) fit(name string) error {
	yes := true
	return b.file.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &yes})
}

// Margins of a page in inches.
const (
	printSide   = 0.45
	printTop    = 0.8
	printBottom = 0.75
)

// scale is how large running content is printed so that it has the width of the
// paper, in per cent. It is not left to the spreadsheet to make it fit, because
// page breaks that are set hold only without that.
func (b *book) scale() float64 {
	width := papers[b.doc.Paper][0] - 2*72*printSide
	return math.Min(100, math.Floor(99*width/(flowColumns*flowUnit)))
}

// breaks are the rows of running content that begin a page, so that what belongs
// together stands on one.
func (f *flow) breaks() []int {
	room := 0.97 * (papers[f.book.doc.Paper][1] - 72*(printTop+printBottom)) * 100 / f.book.scale()
	var list []int
	y := 0.0
	for k := 0; k < len(f.rows); {
		end, height := k+1, f.rows[k].height
		for ; end < len(f.rows) && f.rows[end-1].keep; end++ {
			height += f.rows[end].height
		}
		if height > room { // more than a page: only this row
			end, height = k+1, f.rows[k].height
		}
		if y+height > room && k > 0 {
			list, y = append(list, k), 0
		}
		y, k = y+height, end
	}
	return list
}

// page sets a worksheet up for print: landscape, as wide as the paper, which
// records it belongs to and "page n of m" on each page.
func (b *book) page(name string, fit bool) error {
	size, orientation := paperSizes[b.doc.Paper], "landscape"
	o := &excelize.PageLayoutOptions{Size: &size, Orientation: &orientation}
	if fit {
		width, height := 1, 0
		o.FitToWidth, o.FitToHeight = &width, &height
	} else {
		scale := uint(b.scale())
		o.AdjustTo = &scale
	}
	if err := b.file.SetPageLayout(name, o); err != nil {
		return err
	}
	fixed, side, top, bottom, margin := false, printSide, printTop, printBottom, 0.3
	if err := b.file.SetPageMargins(name, &excelize.PageLayoutMarginsOptions{Left: &side, Right: &side, Top: &top, Bottom: &bottom, Header: &margin, Footer: &margin}); err != nil {
		return err
	}
	head := marginText(b.doc.Title+"  "+b.doc.Records, b.doc.Invented, b.doc.say("page %[1]s of %[2]s", "&P", "&N")+prefixed("\n", marginEscape(b.doc.Program, marginMost/6)))
	foot := marginText(b.doc.Subject, b.doc.Fingerprint, "")
	return b.file.SetHeaderFooter(name, &excelize.HeaderFooterOptions{ScaleWithDoc: &fixed, OddHeader: head, OddFooter: foot})
}

// marginMost is how many UTF-16 units a header or footer holds, codes included.
const marginMost = 255

// marginText is a header or footer: two lines at the left, and codes at the
// right. What is too long is shortened in the middle, the first line before the
// second: it stands in full elsewhere.
func marginText(first, second, right string) string {
	right = "&R" + right
	if second != "" {
		second = "\n" + marginEscape(second, marginMost-units(right)-40)
	}
	return "&L" + marginEscape(first, marginMost-2-units(second+right)) + second + right
}

// marginEscape writes a text of at most so many units, in which & begins no code.
func marginEscape(s string, most int) string {
	escape := func(r []rune) string { return strings.ReplaceAll(string(r), "&", "&&") }
	runes := []rune(s)
	if text := escape(runes); units(text) <= most {
		return text
	}
	for n := len(runes) - 1; n > 0; n-- {
		if n > most {
			n = most
		}
		text := escape(runes[:(n+1)/2]) + "…" + escape(runes[len(runes)-n/2:])
		if units(text) <= most {
			return text
		}
	}
	return ""
}

func units(s string) int { return len(utf16.Encode([]rune(s))) }
