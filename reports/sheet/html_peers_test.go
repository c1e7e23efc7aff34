package sheet

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"bandproof/reports/browsertest"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func browser(t *testing.T) context.Context {
	t.Helper()
	return browsertest.Start(t, "opened the HTML")
}

// watch gathers what a page complains of and what it asks for.
type watch struct {
	mu         sync.Mutex
	complaints []string
	requests   []string
}

func (w *watch) listen(event any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		w.complaints = append(w.complaints, e.ExceptionDetails.Text)
	case *runtime.EventConsoleAPICalled:
		w.complaints = append(w.complaints, fmt.Sprint("console: ", e.Type, " ", e.Args))
	case *log.EventEntryAdded:
		w.complaints = append(w.complaints, e.Entry.Text)
	case *network.EventRequestWillBeSent:
		w.requests = append(w.requests, e.Request.URL)
	}
}

// open shows a sheet and checks that it loads nothing but itself, and that the
// browser has nothing to complain of.
func open(t *testing.T, ctx context.Context, s *Sheet) *watch {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sheet.html")
	require.NoError(t, os.WriteFile(file, []byte(htmlOf(t, s)), 0o600))
	w := &watch{}
	require.NoError(t, chromedp.Listen(ctx, w.listen))
	for _, enable := range []func() error{
		func() error { _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); return err },
		func() error { _, err := chromedp.Call(ctx, log.Enable, cdp.Empty{}); return err },
		func() error { _, err := chromedp.Call(ctx, runtime.Enable, cdp.Empty{}); return err },
	} {
		require.NoError(t, enable())
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("file://"+file)))
	return w
}

// contrast is the least ratio of luminance between text and ground over the
// page's kinds of text (WCAG 2.2, "relative luminance" and "contrast ratio").
const contrast = `(() => {
  const light = c => { const [r, g, b] = c.match(/[\d.]+/g).map(x => x / 255).map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b }
  const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (c != "rgba(0, 0, 0, 0)") return c } return "rgb(255, 255, 255)" }
  let least = 21
  for (const e of document.querySelectorAll("p, dt, dd, td, th, li, h1, h2, h3, caption, figcaption")) {
    if (!e.textContent.trim()) continue
    const a = light(getComputedStyle(e).color), b = light(ground(e))
    least = Math.min(least, (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05))
  }
  return least
})()`

// overflow is how far the page itself is wider than the window; tables and
// drawings scroll inside their own boxes.
const overflow = `document.documentElement.scrollWidth - document.documentElement.clientWidth`

// wide names what sticks out, for the message.
const wide = `[...document.querySelectorAll("body *")].filter(e => !e.closest(".scroll") && e.getBoundingClientRect().right > document.documentElement.clientWidth)
  .map(e => e.tagName + " " + e.className + " " + e.textContent.slice(0, 40)).join("; ")`

// frames are the marks with the kinds of their frames.
const frames = `[...new Set([...document.querySelectorAll(".failed, .conditional, .unjudged")].map(
  e => e.className.match(/failed|conditional|unjudged/)[0] + " " + getComputedStyle(e).borderTopStyle))].sort()`

func evaluate[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	x, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	require.NoError(t, err)
	return x
}

// In a browser: nothing is asked for, nothing complained of; no page is wider
// than the window, wide or narrow, whatever the names; text stands out from its
// ground by 4.5 : 1 or more, light and dark; marks keep their frames.
func TestHTMLInABrowser(t *testing.T) {
	ctx := browser(t)
	for name, s := range map[string]*Sheet{"two runs": cases(t)["two runs"], "measured": cases(t)["measured"], "hostile": sheetOf(t, hostile(t))} {
		t.Run(name, func(t *testing.T) {
			tab, cancel := chromedp.NewContext(ctx)
			defer cancel()
			w := open(t, tab, s)
			for _, width := range []int64{360, 800, 1400} {
				for _, scheme := range []string{"light", "dark"} {
					require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(width, 800)))
					_, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
					require.NoError(t, err)
					wider, least := evaluate[float64](t, tab, overflow), evaluate[float64](t, tab, contrast)
					assert.Zero(t, wider, "at %d, %s: %s", width, scheme, evaluate[string](t, tab, wide))
					assert.GreaterOrEqual(t, least, 4.5, "at %d, %s", width, scheme)
					assert.Equal(t, []string{"conditional dashed", "failed solid", "unjudged dotted"}, evaluate[[]string](t, tab, frames))
				}
			}
			w.mu.Lock()
			defer w.mu.Unlock()
			assert.Empty(t, w.complaints)
			require.Len(t, w.requests, 1, "more than the file itself was asked for: %v", w.requests)
			assert.True(t, strings.HasPrefix(w.requests[0], "file://"))
		})
	}
}

// Printed by a browser: page numbers and the mark of invented data on each page,
// headings again on each page that a table goes on, every text inside the paper,
// the end mark on the last page.
func TestHTMLPrinted(t *testing.T) {
	ctx := browser(t)
	letter, err := sheetOf(t, fixture(t, "as-found"), fixture(t, "as-left")).With(Options{Paper: "Letter", Language: "de"})
	require.NoError(t, err)
	sheets := map[string]*Sheet{"two runs": cases(t)["two runs"], "measured": cases(t)["measured"], "Letter": letter, "hostile": sheetOf(t, hostile(t))}
	if testing.Short() {
		sheets = map[string]*Sheet{"Letter": letter}
	}
	for name, s := range sheets {
		t.Run(name, func(t *testing.T) {
			tab, cancel := chromedp.NewContext(ctx)
			defer cancel()
			open(t, tab, s)
			pdf, err := chromedp.Run(tab, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
			require.NoError(t, err)
			if dir := os.Getenv("BANDPROOF_PRINTS"); dir != "" { // to be looked at
				require.NoError(t, os.WriteFile(filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+"-printed.pdf"), pdf, 0o600))
			}
			checkPrint(t, s, pdf)
		})
	}
}

func checkPrint(t *testing.T, s *Sheet, pdf []byte) {
	d := s.build()
	pages := pdftotext(t, pdf)
	for k, text := range pages {
		assert.Contains(t, text, d.say("page %[1]s of %[2]s", fmt.Sprint(k+1), fmt.Sprint(len(pages))))
	}
	assert.Equal(t, 1, strings.Count(strings.Join(pages, ""), d.End))
	assert.Contains(t, pages[len(pages)-1], d.End)
	paper := pageOf(d.Paper)
	cmd := exec.Command("pdftotext", "-raw", "-x", "0", "-y", "0", "-W", fmt.Sprint(int(paper.pageWidth)), "-H", fmt.Sprint(int(paper.pageHeight)), "-", "-")
	cmd.Stdin = strings.NewReader(string(pdf))
	out, err := cmd.Output()
	require.NoError(t, err)
	printed := strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
	for k, text := range printed {
		assert.Contains(t, solid(text), solid(d.Invented), "page %d", k+1)
	}
	all := solid(strings.Join(printed, ""))
	usual := printedAs(t)
	for _, x := range (writerCase{chart: titlesAndNames}).expect(d) {
		if usual(x.text) != x.text {
			continue // other writings: what fonts a browser has for them is the machine's business
		}
		for _, part := range ends(solid(x.text), 24) {
			assert.True(t, strings.Contains(all, part), "%.100q is not on the paper", x.text)
		}
	}
	// No title of a table or part stands at the foot of a page, apart from what it
	// heads.
	for k, b := range d.Blocks {
		var title, first string
		switch x := b.(type) {
		case *table:
			title, first = x.Title, x.Columns[0].Head
		case *heading:
			if next, ok := d.Blocks[k+1].(*paragraph); ok {
				title, first = x.Text, join("", next.Label, next.Text)
			}
		}
		title, first = solid(title), solid(first)
		if title == "" || usual(title) != title || usual(first) != first {
			continue
		}
		together := slices.ContainsFunc(printed, func(page string) bool {
			_, after, found := strings.Cut(solid(page), title)
			return found && strings.Contains(after, ends(first, 40)[0])
		})
		assert.True(t, together, "%.100q stands apart from %.100q", title, first)
	}
	// A page with rows of points has the headings of their table.
	head := d.say("Nominal frequency, Hz")
	found := 0
	for k, text := range printed {
		for _, b := range d.Blocks {
			x, ok := b.(*table)
			if !ok || len(x.Columns) < 2 || x.Columns[1].Head != head {
				continue
			}
			for _, row := range x.Rows {
				if strings.Contains(solid(text), solid(row[0].Text+row[1].Text+row[2].Text)) {
					found++
					assert.Contains(t, solid(text), solid(head), "page %d", k+1)
				}
			}
		}
	}
	assert.Positive(t, found)
}
