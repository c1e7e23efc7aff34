package sheet

import (
	"bytes"
	"fmt"
	"image/color"
	"math"

	"github.com/xuri/excelize/v2"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// pictureDPI is the resolution of drawings; pictureWidth is in points and stays
// within the columns also where a spreadsheet makes them a little narrower.
const (
	pictureDPI   = 160
	pictureWidth = 0.95 * flowColumns * flowUnit
)

// flowPicture is a drawing whose upper edge lies at a row. Drawings are pictures
// and not charts of the spreadsheet: its charts know no axis that is linear about
// zero and logarithmic far out, no hatched stretch that was not shown, no sign for
// a point without a value; and what they would draw stands in the table beside.
type flowPicture struct {
	row, column int
	png         []byte
	pixels      int     // width
	width       float64 // points
	caption     string
}

// picture draws a plot, with its caption below.
func (f *flow) picture(plot func(draw.Canvas), height float64, caption string) error {
	const width = pictureWidth
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(width), vg.Length(height)), vgimg.UseDPI(pictureDPI), vgimg.UseBackgroundColor(color.White))
	plot(draw.New(c))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return fmt.Errorf("drawing %q: %w", caption, err)
	}
	f.gap(6)
	f.stick()
	f.pictures = append(f.pictures, flowPicture{len(f.rows), 0, b.Bytes(), c.Image().Bounds().Dx(), width, caption})
	for left := height + 2; left > 0; left -= flowLine {
		f.add(math.Min(left, flowLine))
		f.stick()
	}
	f.text(0, flowColumns, caption, look{Size: 7.5})
	return nil
}

// pictures puts the drawings of a worksheet into the file; before its rows,
// which are not kept. Their size is theirs and does not follow the cells.
func (b *book) pictures(f *flow) error {
	for _, p := range f.pictures {
		scale := p.width / 72 * 96 / float64(p.pixels)
		o := &excelize.GraphicOptions{AltText: p.caption, ScaleX: scale, ScaleY: scale, Positioning: "oneCell", LockAspectRatio: true}
		if err := b.file.AddPictureFromBytes(f.name, cellName(p.column, p.row), &excelize.Picture{Extension: ".png", File: p.png, Format: o}); err != nil {
			return fmt.Errorf("worksheet %q, drawing %q: %w", f.name, p.caption, err)
		}
	}
	return nil
}
