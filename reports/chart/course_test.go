package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"bandproof/reports/chart"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var begins = time.Date(2020, 5, 1, 0, 0, 0, 0, time.UTC)

func year(n float64) time.Time {
	return begins.Add(time.Duration(n * 365.25 * 24 * float64(time.Hour)))
}

// straight rises by one a year to a limit of 8 that it crosses in the eighth.
func straight() chart.Course {
	c := chart.Course{Title: "invented <b>µ & Ω</b>", Y: "offset / ppm", Limits: []float64{8, -8}, Notes: []string{"a note"},
		Lines: []chart.Stretch{{From: year(0), To: year(4), A: 0, B: 4}}, Sets: []chart.Set{{Name: "as-found", Mark: 'o'}, {Name: "as-left", Mark: 'x'}}}
	for k := range 5 {
		c.Sets[0].Dots = append(c.Sets[0].Dots, chart.Dot{At: year(float64(k)), Y: float64(k), U: 0.2})
	}
	c.Sets[1].Dots = []chart.Dot{{At: year(4.5), Y: -1}}
	for k := range 21 {
		c.Ahead = append(c.Ahead, chart.Band{At: year(4 + float64(k)), Y: 4 + float64(k), Half: 0.3 + float64(k)/5})
	}
	return c
}

func TestCourseFormats(t *testing.T) {
	for format, head := range map[string]string{"svg": "<?xml", "png": "\x89PNG", "pdf": "%PDF"} {
		var b bytes.Buffer
		require.NoError(t, chart.WriteCourse(&b, format, straight()))
		require.True(t, strings.HasPrefix(b.String(), head), format)
	}
	var b bytes.Buffer
	require.NoError(t, chart.WriteCourse(&b, "svg", straight()))
	text := b.String()
	for _, want := range []string{"as-found", "as-left", "limit", "fitted drift", "prediction interval, 95.45 %", "a note", "2022"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "<b>", "a name is text, never markup")
	for d := xml.NewDecoder(&b); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
	}
	require.ErrorContains(t, chart.WriteCourse(&b, "bmp", straight()), "expected one of svg, png, pdf")
	require.ErrorContains(t, chart.WriteCourse(&b, "svg", chart.Course{}), "no result to draw")
}

// What stands in the characters: results and limits in their rows, the prediction
// ending soon after it has left them.
func TestCourseInCharacters(t *testing.T) {
	lines := straight().Text(60, 15)
	require.Equal(t, "   offset / ppm", lines[0])
	find := func(mark string) (rows []int) {
		for k, l := range lines[1:16] {
			if _, field, _ := strings.Cut(l, "|"); strings.Contains(field, mark) {
				rows = append(rows, k)
			}
		}
		return rows
	}
	require.Len(t, find("o"), 3, "five results from 0 to 4 of 17: %s", strings.Join(lines, "\n"))
	require.Len(t, find("x"), 1)
	require.Len(t, find("--------"), 2)
	require.Contains(t, lines[find("--------")[0]+1], " 8 |")
	require.Contains(t, lines[find("--------")[1]+1], "-8 |")
	last := lines[len(lines)-1]
	require.Contains(t, last, "2020-05-01")
	require.Regexp(t, `2033-0[45]-[0-9]+$`, last, "the first prediction beyond limit and a quarter is of 2033")
	require.Nil(t, chart.Course{}.Text(60, 15))
	require.Nil(t, straight().Text(5, 2))
	one := chart.Course{Sets: []chart.Set{{Mark: 'o', Dots: []chart.Dot{{At: begins, Y: 0}}}}}
	require.Contains(t, strings.Join(one.Text(20, 5), "\n"), "o")
}

// Whatever is drawn, the field keeps its size and nothing panics.
func TestAnyCourse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1e12, 1e12)
		c := chart.Course{Limits: rapid.SliceOfN(number, 0, 2).Draw(t, "limits"), Sets: []chart.Set{{Name: "a", Mark: 'o'}}}
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			c.Sets[0].Dots = append(c.Sets[0].Dots, chart.Dot{At: year(rapid.Float64Range(-60, 60).Draw(t, "at")), Y: number.Draw(t, "y"), U: rapid.Float64Range(0, 1e12).Draw(t, "u")})
		}
		for k := range rapid.IntRange(0, 5).Draw(t, "ahead") {
			c.Ahead = append(c.Ahead, chart.Band{At: year(60 + float64(k)), Y: number.Draw(t, "p"), Half: rapid.Float64Range(0, 1e12).Draw(t, "half")})
		}
		lines := c.Text(50, 10)
		if len(c.Sets[0].Dots) == 0 {
			require.Nil(t, lines)
			return
		}
		require.Len(t, lines, 13)
		require.NoError(t, chart.WriteCourse(io.Discard, "svg", c))
	})
}
