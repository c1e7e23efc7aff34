package sheet

import (
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

// page sets a worksheet up for print: landscape, as wide as the paper, which
// records it belongs to and "page n of m" on each page.
func (b *book) page(name string) error {
	if err := b.fit(name); err != nil {
		return err
	}
	width, height, fixed, size, orientation := 1, 0, false, paperSizes[b.doc.Paper], "landscape"
	if err := b.file.SetPageLayout(name, &excelize.PageLayoutOptions{Size: &size, Orientation: &orientation, FitToWidth: &width, FitToHeight: &height}); err != nil {
		return err
	}
	side, top, bottom, margin := 0.45, 0.8, 0.75, 0.3
	if err := b.file.SetPageMargins(name, &excelize.PageLayoutMarginsOptions{Left: &side, Right: &side, Top: &top, Bottom: &bottom, Header: &margin, Footer: &margin}); err != nil {
		return err
	}
	// The line below the first is the middle's: its text may be long.
	head := marginText(b.doc.Title+"  "+b.doc.Records, prefixed("\n", b.doc.Invented), b.doc.say("page %[1]s of %[2]s", "&P", "&N"))
	foot := marginText(b.doc.Subject, prefixed("\n", b.doc.Fingerprint), marginEscape(b.doc.Program, marginMost/4))
	return b.file.SetHeaderFooter(name, &excelize.HeaderFooterOptions{ScaleWithDoc: &fixed, OddHeader: head, OddFooter: foot})
}

// marginMost is how many UTF-16 units a header or footer holds, codes included.
const marginMost = 255

// marginText is a header or footer of three parts; right holds codes already.
// What is too long is shortened in the middle: it stands in full elsewhere.
func marginText(left, center, right string) string {
	right = "&R" + right
	if center != "" {
		right = "&C" + marginEscape(center, marginMost/4) + right
	}
	return "&L" + marginEscape(left, marginMost-2-units(right)) + right
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
