package sheet

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// Margins of a page in points.
const (
	marginX    = 34.0
	bodyTop    = 49.0
	bodyMargin = 34.0
	family     = "sheet"
)

// page has the measures of the paper in points, landscape so that as-found and
// as-left stand side by side.
type page struct{ pageWidth, pageHeight, bodyBottom, bodyWidth float64 }

// papers have their long and short side.
var papers = map[string][2]float64{"A4": {841.89, 595.28}, "Letter": {792, 612}}

func pageOf(paper string) page {
	p := papers[paper]
	return page{p[0], p[1], p[1] - bodyMargin, p[0] - 2*marginX}
}

// pdfWriter puts a document on pages. y is where the next block begins.
type pdfWriter struct {
	page
	pdf     *fpdf.Fpdf
	doc     *document
	regular *face
	bold    *face
	rowPad  float64
	y       float64
	last    bool // the block that is being set is the last
	// The font that the page's stream has set last; nil at the top of a page.
	font     *face
	fontSize float64
}

// PDF writes the sheet as PDF. The same records give the same bytes.
func (s *Sheet) PDF(w io.Writer) error { return s.build().pdf(w) }

func (d *document) pdf(out io.Writer) error {
	p, err := d.layOut(rowPad)
	if err != nil {
		return err
	}
	if pages := p.pdf.PageCount(); pages > 1 && pages <= worthTightening && p.used() < nearlyEmpty {
		tight, err := d.layOut(tightPad)
		if err != nil {
			return err
		}
		if tight.pdf.PageCount() < pages {
			p = tight
		}
	}
	p.margins()
	if err := p.pdf.Output(out); err != nil {
		return fmt.Errorf("write data sheet as PDF: %w", err)
	}
	return nil
}

// nearlyEmpty is the share of a last page below which one is better saved, as
// long as there are not so many that one more makes no difference.
const (
	nearlyEmpty     = 0.25
	worthTightening = 30
)

// layOut sets the document on pages, all but their margins.
func (d *document) layOut(pad float64) (*pdfWriter, error) {
	w := &pdfWriter{page: pageOf(d.Paper), doc: d, rowPad: pad}
	var err error
	if w.regular, err = newFace("", liberationsansregular.TTF); err != nil {
		return nil, fmt.Errorf("write data sheet as PDF: font: %w", err)
	}
	if w.bold, err = newFace("B", liberationsansbold.TTF); err != nil {
		return nil, fmt.Errorf("write data sheet as PDF: font: %w", err)
	}
	w.open()
	w.newPage()
	w.head()
	for k, b := range d.Blocks {
		w.last = k == len(d.Blocks)-1
		if k+1 < len(d.Blocks) {
			w.keep(b, d.Blocks[k+1])
		}
		w.block(b)
	}
	w.end()
	return w, nil
}

// used is the share of the last page that is filled.
func (w *pdfWriter) used() float64 { return (w.y - bodyTop) / (w.bodyBottom - bodyTop) }

func (w *pdfWriter) open() {
	w.pdf = fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: w.pageWidth, Ht: w.pageHeight}})
	w.pdf.SetAutoPageBreak(false, 0)
	w.pdf.SetMargins(marginX, 0, marginX)
	w.pdf.SetCatalogSort(true)
	when := w.doc.Created.UTC()
	if when.IsZero() {
		when = time.Unix(0, 0).UTC() // the library would take the time of day
	}
	w.pdf.SetCreationDate(when)
	w.pdf.SetModificationDate(when)
	w.pdf.SetTitle(w.printable(w.doc.Title+" "+strings.Join(w.doc.IDs, ", ")), true)
	w.pdf.SetAuthor(w.printable(w.doc.Author), true)
	w.pdf.SetSubject(w.printable(w.doc.Subject), true)
	w.pdf.SetCreator(w.printable(w.doc.Program), true)
	w.pdf.SetProducer(w.printable(w.doc.Program), true)
	w.pdf.SetLang(w.doc.Language)
	for _, f := range []*face{w.regular, w.bold} {
		w.pdf.AddUTF8FontFromBytes(family, f.style, bytes.Clone(f.ttf))
	}
}

func (w *pdfWriter) newPage() {
	w.pdf.AddPage()
	w.font = nil
	w.y = bodyTop
}

// margins gives every page its header and footer, when their number is known:
// which records it belongs to, its number, and whether the data is invented.
func (w *pdfWriter) margins() {
	pages := w.pdf.PageCount()
	for page := 1; page <= pages; page++ {
		w.pdf.SetPage(page)
		w.font = nil
		w.margin(page, pages)
	}
}

func (w *pdfWriter) margin(page, pages int) {
	const size = 8
	right := w.doc.say("page %[1]s of %[2]s", w.doc.whole(page), w.doc.whole(pages))
	rw := w.bold.width(right, size)
	w.text(w.pageWidth-marginX-rw, 26, right, w.bold, size)
	w.text(marginX, 26, w.bold.elide(w.printable(w.doc.Title+"    "+w.doc.Records), w.bodyWidth-rw-20, size), w.bold, size)
	w.rule(marginX, 31, w.bodyWidth, 0.8)
	if w.doc.Invented != "" {
		iw := w.bold.width(w.doc.Invented, 8.5)
		w.pdf.SetFillColor(225, 225, 225)
		w.pdf.Rect((w.pageWidth-iw)/2-8, 33.5, iw+16, 12, "F")
		w.text((w.pageWidth-iw)/2, 42.5, w.doc.Invented, w.bold, 8.5)
	}
	w.rule(marginX, w.pageHeight-30, w.bodyWidth, 0.4)
	if w.doc.Fingerprint != "" {
		w.text(marginX, w.pageHeight-11, w.regular.elide(w.printable(w.doc.Fingerprint), w.bodyWidth, 6.5), w.regular, 6.5)
	}
	pw := min(w.regular.width(w.printable(w.doc.Program), 7), w.bodyWidth/3)
	w.text(marginX, w.pageHeight-20, w.regular.elide(w.printable(w.doc.Subject), w.bodyWidth-pw-20, 7), w.regular, 7)
	w.text(w.pageWidth-marginX-pw, w.pageHeight-20, w.regular.elide(w.printable(w.doc.Program), w.bodyWidth/3, 7), w.regular, 7)
}

// need makes room for h, on a new page if there is none on this one.
func (w *pdfWriter) need(h float64) {
	if w.y+h > w.bodyBottom && w.y > bodyTop {
		w.newPage()
	}
}

// keep makes room for a paragraph together with the lines to sign on after it,
// so that these never stand on a page alone, and for a heading with the drawing
// or the first rows of the table below it.
func (w *pdfWriter) keep(b, next block) {
	if _, ok := b.(*heading); ok {
		switch next.(type) {
		case *graph:
			w.need(graphHeight + 50)
		case *table:
			w.need(120)
		}
	}
	p, isText := b.(*paragraph)
	s, isSigned := next.(*signatures)
	if isText && isSigned {
		w.need(min(w.paragraphHeight(p)+w.signaturesHeight(s), w.bodyBottom-bodyTop))
	}
}

// head is the title on the first page.
func (w *pdfWriter) head() {
	w.letterhead(w.doc.Head)
	w.y += 16
	w.text(marginX, w.y, w.doc.Title, w.bold, 18)
	w.y += 10
}

// endHeight is the room that the end mark takes.
const endHeight = 24.0

func (w *pdfWriter) end() {
	w.need(endHeight)
	w.y += 16
	width := w.bold.width(w.doc.End, 9)
	w.text((w.pageWidth-width)/2, w.y, w.doc.End, w.bold, 9)
	w.rule(marginX, w.y-3, (w.bodyWidth-width)/2-10, 0.8)
	w.rule((w.pageWidth+width)/2+10, w.y-3, (w.bodyWidth-width)/2-10, 0.8)
}

func (w *pdfWriter) rule(x, y, length, width float64) {
	w.pdf.SetDrawColor(0, 0, 0)
	w.pdf.SetLineWidth(width)
	w.pdf.Line(x, y, x+length, y)
}

// text writes one line; s holds printable characters only.
func (w *pdfWriter) text(x, y float64, s string, f *face, size float64) {
	w.setFont(f, size)
	w.pdf.SetTextColor(0, 0, 0)
	w.pdf.Text(x, y, visual(s))
}

func (w *pdfWriter) setFont(f *face, size float64) {
	if w.font != f || w.fontSize != size {
		w.pdf.SetFont(family, f.style, size)
		w.font, w.fontSize = f, size
	}
}
