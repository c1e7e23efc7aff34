package sheet

import (
	"bytes"
	"fmt"
	"html/template"
	"regexp"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// drawing is a chart or a graph.
type drawing interface {
	plot(draw.Canvas)
	titles() (x, y, caption string)
	about() []string // what signs, lines and stretches mean
}

// figure draws a plot into the file, the same as the PDF has it.
func (w *htmlWriter) figure(d drawing, height float64) error {
	width := pageOf(w.doc.Paper).bodyWidth
	content, err := svg(d.plot, width, height)
	if err != nil {
		return err
	}
	x, y, caption := d.titles()
	return w.put("figure", struct {
		ID, Title, Caption string
		Width, Height      float64
		About              []string
		Drawing            template.HTML
	}{w.id(), join(" / ", y, x), caption, width, height, d.about(), content})
}

var (
	svgStyle    = regexp.MustCompile(`\s+style="([^"]*)"`)
	svgProperty = regexp.MustCompile(`([a-z-]+):([^;]*);?`)
)

// svg draws a plot as what stands inside an svg element. The library escapes
// all texts; the styles that it writes at each element become attributes, which
// a content security policy need not allow.
func svg(plot func(draw.Canvas), width, height float64) (template.HTML, error) {
	canvas := vgsvg.NewWith(vgsvg.UseWH(vg.Length(width), vg.Length(height)))
	plot(draw.New(canvas))
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return "", fmt.Errorf("drawing: %w", err)
	}
	text := b.String()
	if k := strings.Index(text, "<svg"); k >= 0 {
		text = text[k:]
	}
	_, text, _ = strings.Cut(text, ">\n")
	text = strings.TrimSuffix(strings.TrimSpace(text), "</svg>")
	text = svgStyle.ReplaceAllStringFunc(text, func(s string) string {
		return svgProperty.ReplaceAllString(svgStyle.FindStringSubmatch(s)[1], ` $1="$2"`)
	})
	return template.HTML(text), nil
}
