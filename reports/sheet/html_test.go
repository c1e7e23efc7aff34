package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

func htmlOf(t testing.TB, s *Sheet) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.HTML(&b))
	return b.String()
}

// walk goes over the elements and texts of a tree in order.
func walk(n *html.Node, visit func(*html.Node)) {
	visit(n)
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, visit)
	}
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// parseHTML reads the file with a parser that is not ours (golang.org/x/net/html,
// the parsing algorithm of the HTML standard) and refuses what could run, or
// reach outside the file.
func parseHTML(t *testing.T, text string) *html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(text))
	require.NoError(t, err)
	allowed := map[string]bool{}
	for _, name := range strings.Fields(`html head body meta title style main header footer section div p h1 h2 h3 dl dt dd ul li bdi img span
		figure figcaption table caption colgroup thead tbody tr th td svg g path text desc`) {
		allowed[name] = true
	}
	ids, styles, policy := map[string]bool{}, []string{}, ""
	walk(root, func(n *html.Node) {
		if n.Type == html.CommentNode {
			t.Errorf("a comment: %q", n.Data)
		}
		if n.Type != html.ElementNode {
			return
		}
		require.True(t, allowed[n.Data], "element %q has no business in a data sheet", n.Data)
		if n.Data == "style" {
			styles = append(styles, n.FirstChild.Data)
		}
		if n.Data == "meta" && attribute(n, "http-equiv") == "Content-Security-Policy" {
			policy = attribute(n, "content")
		}
		for _, a := range n.Attr {
			require.False(t, strings.HasPrefix(a.Key, "on"), "%s=%q may run", a.Key, a.Val)
			switch a.Key {
			case "style", "href", "srcset", "action", "srcdoc", "data", "background":
				t.Errorf("attribute %s=%q at %s", a.Key, a.Val, n.Data)
			case "src":
				require.Regexp(t, `^data:image/(png|jpeg);base64,`, a.Val)
			case "id":
				require.False(t, ids[a.Val], "id %q is given twice", a.Val)
				ids[a.Val] = true
			}
		}
	})
	walk(root, func(n *html.Node) {
		for _, id := range strings.Fields(attribute(n, "aria-labelledby")) {
			require.True(t, ids[id], "aria-labelledby names %q, which is nowhere", id)
		}
	})
	require.Len(t, styles, 1)
	require.NotRegexp(t, regexp.MustCompile(`(?i)url\(|@import|expression|</`), styles[0])
	sum := sha256.Sum256([]byte(styles[0]))
	require.Equal(t, "default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'; img-src data:; base-uri 'none'; form-action 'none'", policy)
	noOddCharacters(t, text)
	return root
}

// Every table has a head, names its rows, and as many cells in each as columns.
func TestHTMLStructure(t *testing.T) {
	for name, s := range cases(t) {
		t.Run(name, func(t *testing.T) {
			root := parseHTML(t, htmlOf(t, s))
			var tables, figures int
			walk(root, func(n *html.Node) {
				switch {
				case n.Type != html.ElementNode:
				case n.Data == "html":
					assert.Equal(t, "en", attribute(n, "lang"))
				case n.Data == "table":
					tables++
					checkTable(t, n)
				case n.Data == "svg":
					figures++
					assert.Equal(t, "img", attribute(n, "role"))
					assert.Len(t, strings.Fields(attribute(n, "aria-labelledby")), 2)
				}
			})
			var wantTables, wantFigures int
			for _, b := range s.build().Blocks {
				switch b.(type) {
				case *table:
					wantTables++
				case *chart, *graph:
					wantFigures++
				}
			}
			assert.Equal(t, wantTables, tables)
			assert.Equal(t, wantFigures, figures)
		})
	}
}

func checkTable(t *testing.T, n *html.Node) {
	columns, rows, heads := 0, 0, 0
	walk(n, func(x *html.Node) {
		switch {
		case x.Type != html.ElementNode:
		case x.Data == "colgroup":
			var n int
			for _, r := range attribute(x, "span") {
				n = n*10 + int(r-'0')
			}
			columns += n
		case x.Data == "th":
			assert.Contains(t, []string{"col", "colgroup", "row"}, attribute(x, "scope"))
		case x.Data == "thead":
			heads++
		case x.Data == "tr" && x.Parent.Data == "tbody":
			rows++
			cells := 0
			for c := x.FirstChild; c != nil; c = c.NextSibling {
				cells++
			}
			assert.Equal(t, columns, cells)
			assert.Equal(t, "row", attribute(x.FirstChild, "scope"))
		}
	})
	assert.Equal(t, 1, heads)
	assert.Positive(t, rows)
}

// A mark is seen without colour: by sign, weight and frame. The style sheet has
// a frame of its own for each mark.
func TestHTMLMarks(t *testing.T) {
	text := htmlOf(t, sheetOf(t, fixture(t, "as-found")))
	frames := map[string]string{}
	for m, class := range markClass {
		if m == plain {
			continue
		}
		assert.Contains(t, text, ` class="`+class+`"`)
		rule := regexp.MustCompile(`\n\.` + class + `\{[^}]*border-block:2px (\w+)`).FindStringSubmatch(text)
		require.Len(t, rule, 2, class)
		require.Empty(t, frames[rule[1]], "%s and %s look alike", class, frames[rule[1]])
		frames[rule[1]] = class
		assert.Regexp(t, `td\.`+class+`[^{}]*\{font-weight:700\}`, text)
	}
	for _, colour := range regexp.MustCompile(`#[0-9a-fA-F]{3,6}\b`).FindAllString(text, -1) {
		hex := strings.TrimPrefix(colour, "#")
		w := len(hex) / 3
		assert.True(t, strings.EqualFold(hex[:w], hex[w:2*w]) && strings.EqualFold(hex[:w], hex[2*w:]), "%s is no grey", colour)
	}
}

func TestCSSString(t *testing.T) {
	assert.Equal(t, `"a\00005c\000022\00003c\00002fstyle\00003e é"`, strings.ReplaceAll(cssString(`a\"</style> é`), `\0000e9`, "é"))
	for _, s := range awkward {
		got := strings.Trim(cssString(oneLine(s)), `"`)
		require.False(t, strings.ContainsFunc(got, func(r rune) bool {
			return r != '\\' && r != ' ' && (r > unicode.MaxASCII || !unicode.IsLetter(r) && !unicode.IsDigit(r))
		}), got)
	}
}

func TestPadding(t *testing.T) {
	for _, c := range []struct{ part, longest, want string }{
		{".5", ".123\u202f45", "23\u202f45"}, {"", ".10", ".10"}, {".123", ".123", ""}, {"", "", ""}, {".123", ".1", ""}, {"\u202f5", "ab\u202f", "\u202f"},
	} {
		assert.Equal(t, c.want, padding(c.part, c.longest), "%q of %q", c.part, c.longest)
	}
}
