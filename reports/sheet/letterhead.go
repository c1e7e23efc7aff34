package sheet

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/draw"
	"image/png"
	"slices"
	"strings"

	"bandproof/reports/record"

	"codeberg.org/go-pdf/fpdf"
	scale "golang.org/x/image/draw"
)

// letterhead is who issues a sheet: at the head of the first page.
type letterhead struct {
	Name  string
	Lines []string // address, contact
	Logo  *logo    // nil for none
}

// logo is a picture as every writer can take it: a PNG of 8 bits a colour, not
// interlaced, with its size in pixels.
type logo struct {
	PNG           []byte
	Width, Height int
}

// What a logo is scaled down to: its room on the page at 600 dots per inch.
const (
	logoRoomWidth  = 160.0 // points
	logoRoomHeight = 42.0
	logoDots       = 600.0 / 72
)

// fitted is the size in points at which the logo fills its room, its sides in
// proportion, and which never shows a dot larger than 1/96 inch.
func (l *logo) fitted() (width, height float64) {
	w, h := float64(l.Width), float64(l.Height)
	f := min(logoRoomWidth/w, logoRoomHeight/h, 72.0/96)
	return w * f, h * f
}

// NamedLogo is the logo that the newest record names; nil for none.
func (s *Sheet) NamedLogo() *record.Logo { return s.last().Record.Logo }

// Logo puts the laboratory's picture at the head of the sheet. A picture that is
// not the one that the newest record names, or can't be drawn, is an error that
// wraps record.ErrLogo; the sheet without it stays good.
func (s *Sheet) Logo(p record.Picture) (*Sheet, error) {
	named := s.NamedLogo()
	if named == nil {
		return nil, fmt.Errorf("%w %s: record %s names no logo; name one in the bench file before the run (logo under [laboratory])", record.ErrLogo, p.File, s.last().ID)
	}
	img, err := record.Picture{Logo: *named, Bytes: p.Bytes}.Image()
	if err != nil {
		return nil, err
	}
	c := *s
	if c.logo, err = newLogo(img); err != nil {
		return nil, fmt.Errorf("%w %s: %w", record.ErrLogo, p.File, err)
	}
	return &c, nil
}

// newLogo draws a picture anew, no larger than print needs.
func newLogo(img image.Image) (*logo, error) {
	from := img.Bounds()
	f := min(1, logoRoomWidth*logoDots/float64(from.Dx()), logoRoomHeight*logoDots/float64(from.Dy()))
	to := image.NewNRGBA(image.Rect(0, 0, max(1, int(float64(from.Dx())*f+0.5)), max(1, int(float64(from.Dy())*f+0.5))))
	if f < 1 {
		scale.CatmullRom.Scale(to, to.Bounds(), img, from, draw.Src, nil)
	} else {
		draw.Draw(to, to.Bounds(), img, from.Min, draw.Src)
	}
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, to); err != nil {
		return nil, err
	}
	return &logo{b.Bytes(), to.Bounds().Dx(), to.Bounds().Dy()}, nil
}

// DataURI is the picture within a page of HTML.
func (l *logo) DataURI() template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(l.PNG))
}

// CSSWidth and CSSHeight are its sides in units of 1/96 inch.
func (l *logo) CSSWidth() int { w, _ := l.fitted(); return int(w*96/72 + 0.5) }

// CSSHeight goes with CSSWidth.
func (l *logo) CSSHeight() int { _, h := l.fitted(); return max(1, int(h*96/72+0.5)) }

// letterhead of the laboratory that made the newest record.
func (s *Sheet) letterhead() letterhead {
	lab := s.last().Laboratory
	h := letterhead{Name: lab.Name, Logo: s.logo}
	for _, x := range []string{join(", ", slices.Clone(lab.Address)...), lab.Contact} {
		if x != "" {
			h.Lines = append(h.Lines, x)
		}
	}
	return h
}

// madeBy is what the letterhead does not say of who made the records.
func (s *Sheet) madeBy() (list []item) {
	lab := s.last().Laboratory
	if lab.Name == "" {
		list = append(list, item{s.say("Laboratory"), s.stated("")})
	}
	if lab.Place != "" {
		list = append(list, item{s.say("Work done at"), lab.Place})
	}
	return list
}

func (h *letterhead) texts() []*string { return append(pointers(h.Lines), &h.Name) }

// Empty tells whether there is nothing to print.
func (h letterhead) Empty() bool { return h.Name == "" && len(h.Lines) == 0 && h.Logo == nil }

var pdfPNG = fpdf.ImageOptions{ImageType: "png"}

// letterhead sets name and address on the left, the logo on the right.
func (w *pdfWriter) letterhead(h letterhead) {
	if h.Empty() {
		return
	}
	const nameSize, gap = 12.0, 4.0
	width, top := w.bodyWidth, w.y
	if h.Logo != nil {
		lw, lh := h.Logo.fitted()
		name := "logo"
		w.pdf.RegisterImageOptionsReader(name, pdfPNG, bytes.NewReader(h.Logo.PNG))
		w.pdf.ImageOptions(name, w.pageWidth-marginX-lw, top, lw, lh, false, pdfPNG, 0, "")
		width -= logoRoomWidth + 20
		defer func() { w.y = max(w.y, top+lh+gap) }()
	}
	if h.Name != "" {
		w.flow(w.bold.wrap(w.printable(h.Name), width, nameSize), marginX, w.bold, nameSize)
	}
	lines := h.Lines
	if one := w.printable(oneLine(strings.Join(lines, "   "))); len(lines) > 1 && h.Logo == nil && w.regular.width(one, textSize) < width {
		lines = []string{one} // nothing beside it needs the height
	}
	for _, l := range lines {
		w.flow(w.regular.wrap(w.printable(l), width, textSize), marginX, w.regular, textSize)
	}
	w.y += gap
}
