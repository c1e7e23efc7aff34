package diagram

import (
	"bytes"
	"context"
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"bandproof/reports/browsertest"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func browser(t *testing.T) context.Context {
	t.Helper()
	return browsertest.Start(t, "shown the pictures")
}

// outside names texts that stick out of the picture, and those that stick out of
// the frame that they belong to: the first rectangle of their group.
const outside = `(() => {
  // Letters take about the middle of a text's box; what stands over them is no matter.
  const inner = r => ({left: r.left, right: r.right, top: r.top + r.height * 0.2, bottom: r.bottom - r.height * 0.2})
  const out = (a, b) => a.left < b.left - 0.5 || a.right > b.right + 0.5 || a.top < b.top - 0.5 || a.bottom > b.bottom + 0.5
  const all = document.documentElement.getBoundingClientRect(), list = []
  for (const e of document.querySelectorAll("text")) {
    const r = e.getBoundingClientRect()
    if (out(r, all)) list.push("picture: " + e.textContent)
    let g = e.closest("g")
    if (g && g.hasAttribute("fill")) g = g.parentElement
    const frame = g && g.querySelector(":scope > title") && g.querySelector(":scope > rect")
    if (frame && out(inner(r), frame.getBoundingClientRect())) list.push("frame: " + e.textContent)
  }
  return list
})()`

// touching names texts that lie on each other, or on the frame of a group that
// they don't belong to. Letters take about the middle of a text's box.
const touching = `(() => {
  const inner = e => { const r = e.getBoundingClientRect(), h = r.height * 0.2; return {left: r.left, right: r.right, top: r.top + h, bottom: r.bottom - h} }
  const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom
  const texts = [...document.querySelectorAll("text")], frames = [...document.querySelectorAll("g > title ~ rect")], list = []
  const boxes = texts.map(inner)
  texts.forEach((e, k) => {
    for (let i = 0; i < k; i++) if (meet(boxes[i], boxes[k])) list.push(texts[i].textContent + " / " + e.textContent)
    for (const f of frames) if (!f.parentElement.contains(e) && meet(boxes[k], f.getBoundingClientRect())) list.push(e.textContent + " / frame of " + f.parentElement.textContent)
  })
  return list
})()`

func evaluate[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	x, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	require.NoError(t, err)
	return x
}

// In a browser no text sticks out of its block, or of the picture; none lies on
// another; and something is seen.
func TestInABrowser(t *testing.T) {
	ctx := browser(t)
	all := pictures(t)
	n := demo(t)
	all["demo"] = draw(t, n, deadB(t, n))
	all["many"] = draw(t, meshOf(t, 12, 25), Options{})
	for name, picture := range all {
		t.Run(name, func(t *testing.T) {
			tab, cancel := chromedp.NewContext(ctx)
			defer cancel()
			file := filepath.Join(t.TempDir(), "diagram.svg")
			require.NoError(t, os.WriteFile(file, picture, 0o600))
			require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(1400, 1000)))
			require.NoError(t, chromedp.Do(tab, chromedp.Navigate("file://"+file)))
			require.Equal(t, "svg", evaluate[string](t, tab, `document.documentElement.nodeName`))
			assert.Empty(t, evaluate[[]string](t, tab, outside))
			assert.Empty(t, evaluate[[]string](t, tab, touching))
			shot, err := chromedp.Run(tab, chromedp.CaptureScreenshot())
			require.NoError(t, err)
			if dir := os.Getenv("BANDPROOF_PRINTS"); dir != "" { // to be looked at
				require.NoError(t, os.WriteFile(filepath.Join(dir, "diagram-"+name+".png"), shot, 0o600))
			}
			assert.Greater(t, ink(t, shot), 0.0003, "nothing is seen")
		})
	}
}

// ink is the part of a picture that is not white.
func ink(t *testing.T, png []byte) float64 {
	i, _, err := image.Decode(bytes.NewReader(png))
	require.NoError(t, err)
	dark, b := 0, i.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, b, _ := i.At(x, y).RGBA(); r+g+b < 3*0x8000 {
				dark++
			}
		}
	}
	return float64(dark) / float64(b.Dx()*b.Dy())
}

// The model of three inputs is one page of A4 landscape.
func TestPrinted(t *testing.T) {
	tab := browser(t)
	file := filepath.Join(t.TempDir(), "diagram.svg")
	require.NoError(t, os.WriteFile(file, pictures(t)["suspects"], 0o600))
	require.NoError(t, chromedp.Do(tab, chromedp.Navigate("file://"+file)))
	const margin = 10 / 25.4
	pdf, err := chromedp.Run(tab, chromedp.PrintToPDF(chromedp.PDFLandscape(), chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFMargin(margin), chromedp.PDFPrintBackground()))
	require.NoError(t, err)
	if dir := os.Getenv("BANDPROOF_PRINTS"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "diagram.pdf"), pdf, 0o600))
	}
	c := exec.Command("pdftotext", "-raw", "-", "-")
	c.Stdin = bytes.NewReader(pdf)
	out, err := c.Output()
	require.NoError(t, err, "pdftotext: apt-get install poppler-utils")
	require.Equal(t, 1, bytes.Count(out, []byte("\f")), "pages")
	for _, text := range []string{"Where to look: input B shows nothing", "reading", "next: TP7", "exonerated", "TP23"} {
		require.Contains(t, string(out), text)
	}
}
