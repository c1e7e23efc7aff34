package chart_test

import (
	"bytes"
	"context"
	"image/png"
	"strings"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/reports/chart"
	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

func rows(t *testing.T, values []float64) []stability.Row {
	r, err := stability.Analyse(context.Background(), stability.Series{Kind: stability.Frequency, Values: values, Tau0: quantity.MustParse[quantity.Second]("1 s")},
		stability.Request{Deviations: stability.Deviations(), Averaging: stability.Averaging{Step: 2}})
	require.NoError(t, err)
	return r.Rows
}

func TestFormats(t *testing.T) {
	c := chart.Chart{Title: "invented µ—ψ", Confidence: 0.9545, Rows: rows(t, []float64{1, 3, 2, 5, 4, 8, 1, 2, 3, 6, 5})}
	for format, head := range map[string]string{"svg": "<?xml", "png": "\x89PNG", "pdf": "%PDF"} {
		var b bytes.Buffer
		require.NoError(t, chart.Write(&b, format, c))
		require.True(t, strings.HasPrefix(b.String(), head), format)
	}
	var b bytes.Buffer
	require.NoError(t, chart.Write(&b, "svg", c))
	for _, d := range stability.Deviations() {
		require.Contains(t, b.String(), d.Title())
	}
	require.Contains(t, b.String(), "95.45 % confidence")
	require.ErrorContains(t, chart.Write(&b, "bmp", c), "expected one of svg, png, pdf")
}

// The page is not blank: points and lines are drawn in colour.
func TestPictureHasLines(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, chart.Write(&b, "png", chart.Chart{Title: "x", Confidence: 0.95, Rows: rows(t, []float64{1, 3, 2, 5, 4, 8})}))
	picture, err := png.Decode(&b)
	require.NoError(t, err)
	coloured := 0
	for y := range picture.Bounds().Dy() {
		for x := range picture.Bounds().Dx() {
			if r, g, b, _ := picture.At(x, y).RGBA(); r != g || g != b {
				coloured++
			}
		}
	}
	require.Greater(t, coloured, 500)
}

func TestWhatLogarithmicAxesCannotShow(t *testing.T) {
	var b bytes.Buffer
	require.ErrorContains(t, chart.Write(&b, "svg", chart.Chart{Rows: rows(t, []float64{2, 2, 2, 2})}), "no deviation is above zero")
	require.ErrorContains(t, chart.Write(&b, "svg", chart.Chart{}), "no deviation")
	for _, extreme := range []float64{5e-324, 1e-301, 1e-290, 1, 1e290} {
		row := stability.Row{Deviation: stability.ADEV, Tau: 1, Value: extreme, Lower: extreme / 2, Upper: extreme * 2}
		other := stability.Row{Deviation: stability.OADEV, Tau: 1e9, Value: 1, Lower: 1, Upper: 1}
		require.NoError(t, chart.Write(&b, "svg", chart.Chart{Rows: []stability.Row{row, other}}), "%v", extreme)
	}
}
