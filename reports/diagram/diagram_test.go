package diagram

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/drivertest/peer"
	"bandproof/procedures/quantity/tomlfile"
	"bandproof/reports/diagram/layered"
	"bandproof/runner/isolate"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the pictures in testdata anew; look at the change")

func draw(t require.TestingT, n *isolate.Network, o Options) []byte {
	b, err := SVG(n, o)
	require.NoError(t, err)
	again, err := SVG(n, o)
	require.NoError(t, err)
	require.Equal(t, string(b), string(again))
	return b
}

// pictures that are looked at.
func pictures(t testing.TB) map[string][]byte {
	n := counter(t)
	suspects := deadB(t, n)
	suspects.Title, suspects.Subtitle, suspects.Looked = "Where to look: input B shows nothing", "Counter 22, number 0001, as found", []string{"TP9"}
	suspects.Next = &isolate.Probe{TestPoint: "TP7", After: "B limiter"}
	found := suspects
	found.Next, found.Found, found.Looked = nil, "B amplifier", []string{"TP7", "TP8", "TP9"}
	cyclic := modelText("c")
	for _, s := range []string{"input A", "a", "b", "c"} {
		stage(cyclic, s, map[bool]string{true: "connector", false: "amplifier"}[s == "input A"])
	}
	for _, c := range []string{"input A>a", "a>b", "b>c", "c>a", "b>a"} {
		from, to, _ := strings.Cut(c, ">")
		connection(cyclic, from, to, "signal")
	}
	return map[string][]byte{
		"suspects": believing(n, suspects),
		"found":    believing(n, found),
		"plain":    draw(t, n, Options{}),
		"chain":    draw(t, chainOf(t, 64), Options{}),
		"cyclic":   draw(t, load(t, cyclic.String()), Options{Width: 120}),
		"single":   draw(t, single(t, "only stage"), Options{}),
		"hostile":  draw(t, hostile(t), Options{Title: "<b>\"&' \u202egpj.exe\x00", Notice: "]]>", Subtitle: strings.Repeat("long ", 100)}),
	}
}

// believing draws with figures that stay what they are when inference changes.
func believing(n *isolate.Network, o Options) []byte {
	p := newPicture(n, o)
	list := []string{"B limiter", "B amplifier", "B prescaler", "input B", "input selector"}
	for k := range p.blocks {
		b := &p.blocks[k]
		b.probability, b.shaded, b.rank = 0, false, 0
		if i := slices.Index(list, b.Name); i >= 0 {
			b.probability, b.shaded = []float64{0.43, 0.25, 0.2, 0.11, 0.02}[i], true
			if i < top {
				b.rank = i + 1
			}
		}
	}
	p.drawing = layered.Layout(p.graph())
	return p.write()
}

func single(t testing.TB, name string) *isolate.Network {
	return load(t, fmt.Sprintf("schema = \"bandproof block model 1\"\nname = \"model\"\nunit = \"unit\"\norigin = \"a test\"\nreading = %[1]q\n"+
		"connection = []\n[[way]]\nname = \"self-test\"\nself_test = true\n[[stage]]\nname = %[1]q\nkind = \"other\"\n", name))
}

// hostile has names that break what is careless.
func hostile(t testing.TB) *isolate.Network {
	b := modelText("<script>alert(1)</script>")
	stage(b, "input A", "connector")
	before := "input A"
	for k, name := range []string{"a\"b'c<d>&amp;e]]>", strings.Repeat("W", 200), strings.Repeat("long name ", 20), "שלום עולם", "位相同期発振器の分周器",
		"ﷺﷺﷺ", "A\u0301\u0301\u0301\u0301e", "𝔘𝔫𝔦𝔠𝔬𝔡𝔢 👩‍🔬👩‍🔬👩‍🔬👩‍🔬👩‍🔬", "<script>alert(1)</script>"} {
		stage(b, name, isolateKinds()[k])
		connection(b, before, name, "signal")
		fmt.Fprintf(b, "carries = \"f * 2 + %d / (f + 123456789)\"\n", k)
		fmt.Fprintf(b, "[[test_point]]\nname = %q\nafter = %q\naccess = \"probe\"\n", fmt.Sprint("TP<", name, k), name)
		before = name
	}
	return load(t, b.String())
}

func TestGolden(t *testing.T) {
	for name, got := range pictures(t) {
		t.Run(name, func(t *testing.T) {
			readsAsSVG(t, got)
			file := filepath.Join("testdata", name+".svg")
			if *update {
				require.NoError(t, os.WriteFile(file, got, 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, string(want), string(got))
		})
	}
}

// readsAsSVG checks that a picture is well-formed XML of plain drawing elements
// that run nothing and fetch nothing. It returns its texts.
func readsAsSVG(t require.TestingT, picture []byte) string {
	allowed := []string{"svg", "title", "desc", "g", "rect", "circle", "path", "polyline", "polygon", "text"}
	d := xml.NewDecoder(bytes.NewReader(picture))
	var all strings.Builder
	var titles []string
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			require.Equal(t, "http://www.w3.org/2000/svg", x.Name.Space)
			require.Contains(t, allowed, x.Name.Local)
			titles = append(titles, x.Name.Local)
			for _, a := range x.Attr {
				require.False(t, strings.HasPrefix(strings.ToLower(a.Name.Local), "on") || strings.Contains(a.Name.Local, "href") || a.Name.Local == "style", "%v", a)
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, a.Value, "Inf")
			}
		case xml.CharData:
			all.Write(x)
		}
	}
	require.GreaterOrEqual(t, len(titles), 3)
	require.Equal(t, []string{"svg", "title", "desc"}, titles[:3])
	return all.String()
}

// An independent reader of XML takes them too.
func TestReadByAnotherProgram(t *testing.T) {
	tool := peer.Program(t, "xmllint", "libxml2-utils", "no other program has read the pictures")
	for name, picture := range pictures(t) {
		c := exec.Command(tool, "--nonet", "--noout", "-")
		c.Stdin = bytes.NewReader(picture)
		out, err := c.CombinedOutput()
		require.NoError(t, err, "%s: %s", name, out)
	}
}

// Whatever model can be read, its picture is sound, no block lies on another, every
// name is in it, and lines end at their blocks.
func TestAnyModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.String().Filter(func(s string) bool {
			return tomlfile.NotPlain(s) == "" && strings.TrimSpace(s) != "" && s != "input A"
		}), 1, 12, rapid.ID[string]).Draw(t, "names")
		b := modelText(names[0])
		stage(b, "input A", "connector")
		for _, name := range names {
			stage(b, name, rapid.SampledFrom(isolateKinds()).Draw(t, "kind"))
		}
		all := append([]string{"input A"}, names...)
		connection(b, all[0], all[1], "signal")
		for range rapid.IntRange(0, 15).Draw(t, "connections") {
			from, to := rapid.SampledFrom(all).Draw(t, "from"), rapid.SampledFrom(all).Draw(t, "to")
			if from != to {
				connection(b, from, to, rapid.SampledFrom([]string{"signal", "signal", "clock", "oscillator", "control"}).Draw(t, "as"))
			}
		}
		n, err := isolate.Load("model.toml", []byte(toml(b.String())))
		require.NoError(t, err)
		o := Options{Title: rapid.String().Draw(t, "title"), Found: rapid.SampledFrom(all).Draw(t, "found"),
			Width: rapid.Float64Range(0, 1000).Draw(t, "width"), Next: &isolate.Probe{TestPoint: "TP1", After: names[0]}}
		texts := readsAsSVG(t, draw(t, n, o))
		for _, name := range all {
			require.Contains(t, texts, plain(name+","))
		}
		p := newPicture(n, o)
		d := layered.Layout(p.graph())
		for k, r := range d.Boxes {
			require.GreaterOrEqual(t, r.W, blockWidth)
			require.GreaterOrEqual(t, r.H, blockHeight)
			for _, other := range d.Boxes[:k] {
				require.False(t, r.X < other.X+other.W && other.X < r.X+r.W && r.Y < other.Y+other.H && other.Y < r.Y+r.H)
			}
		}
		for k, l := range p.lines {
			from, to := d.Boxes[l.from], d.Boxes[l.to]
			first, last := d.Routes[k][0][0], d.Routes[k][len(d.Routes[k])-1]
			end := last[len(last)-1]
			require.InDelta(t, from.X+from.W, first.X, 1e-6)
			require.True(t, first.Y > from.Y && first.Y < from.Y+from.H)
			require.True(t, end.X >= to.X && end.X < to.X+to.W && end.Y > to.Y && end.Y <= to.Y+to.H, "%v at %v", end, to)
		}
	})
}

// toml writes escapes that Go has and TOML has not.
func toml(text string) string {
	return regexp.MustCompile(`\\x([0-9a-f]{2})`).ReplaceAllString(text, `\u00$1`)
}

// 300 stages are drawn in less than a second.
func TestManyStages(t *testing.T) {
	n := meshOf(t, 12, 25)
	begin := time.Now()
	b, err := SVG(n, Options{})
	require.NoError(t, err)
	took := time.Since(begin)
	t.Logf("%d stages, %d connections: %v, %d bytes", len(n.Model.Stages), len(n.Model.Connections), took, len(b))
	require.Less(t, took, time.Second)
	readsAsSVG(t, b)
	require.Contains(t, string(b), `width="`)
}

// A model of three inputs prints on A4 landscape; what is wider keeps its size.
func TestSizeInPrint(t *testing.T) {
	size := func(b []byte) (w, h float64) {
		m := regexp.MustCompile(`width="([\d.]+)mm" height="([\d.]+)mm"`).FindSubmatch(b)
		require.NotNil(t, m)
		w, _ = strconv.ParseFloat(string(m[1]), 64)
		h, _ = strconv.ParseFloat(string(m[2]), 64)
		return w, h
	}
	for _, n := range []*isolate.Network{counter(t), demo(t)} {
		w, h := size(draw(t, n, deadB(t, n)))
		require.True(t, w <= paperWidth && h <= paperHeight, "%g by %g", w, h)
		require.True(t, w > 0.99*paperWidth || h > 0.99*paperHeight, "%g by %g", w, h)
	}
	n := counter(t)
	w, _ := size(draw(t, n, Options{Width: 400}))
	require.InDelta(t, 400, w, 0.01)
}

// Lightness alone tells probabilities apart, and black text stands out from each
// by more than 7 : 1 (WCAG 2.2, contrast ratio, level AAA).
func TestShades(t *testing.T) {
	before := 1.0
	for p := 0.01; p <= 1.0001; p += 0.01 {
		var c [3]int
		_, err := fmt.Sscanf(shade(p), "#%02x%02x%02x", &c[0], &c[1], &c[2])
		require.NoError(t, err)
		light := 0.0
		for k, w := range []float64{0.2126, 0.7152, 0.0722} {
			x := float64(c[k]) / 255
			if x <= 0.04045 {
				x /= 12.92
			} else {
				x = math.Pow((x+0.055)/1.055, 2.4)
			}
			light += w * x
		}
		require.Less(t, light, before, "at %g", p)
		require.Greater(t, (light+0.05)/0.05, 7.0, "at %g", p)
		before = light
	}
	require.Less(t, before, 0.4, "certain is much darker than exonerated")
}

func TestFigures(t *testing.T) {
	for p, want := range map[float64]string{0.01: "1 %", 0.624: "62 %", 0.994: "99 %", 0.9951: ">99 %", 1: ">99 %"} {
		require.Equal(t, want, percent(p))
	}
}

// Kinds of connections differ in their dashes, three stages in their borders.
func TestWithoutColour(t *testing.T) {
	var all []string
	for _, as := range []string{"signal", "oscillator", "clock", "control"} {
		all = append(all, dashes(as))
	}
	slices.Sort(all)
	require.Len(t, slices.Compact(all), 4)
	n := counter(t)
	p := newPicture(n, deadB(t, n))
	borders := map[float64]int{}
	for k := range p.blocks {
		b := &p.blocks[k]
		borders[p.border(b)]++
		if !b.shaded {
			require.Equal(t, "#fff", p.fill(b))
			require.Empty(t, p.figure(b))
		}
	}
	require.Equal(t, 3, borders[thick])
	require.Greater(t, borders[thin], 15, "%v", borders)
}
