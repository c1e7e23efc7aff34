package chart

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Text draws a course in characters, for a terminal: width and height of the
// field of the plot. An empty course gives no line.
func (c Course) Text(width, height int) []string {
	f, ok := c.frame()
	if !ok || width < 10 || height < 4 {
		return nil
	}
	field := make([][]rune, height)
	for k := range field {
		field[k] = []rune(strings.Repeat(" ", width))
	}
	column := func(t time.Time) int {
		return int(math.Round((seconds(t) - f.left) / (f.right - f.left) * float64(width-1)))
	}
	rowOf := func(y float64) int { return int(math.Round((f.high - y) / (f.high - f.low) * float64(height-1))) }
	set := func(x int, y float64, mark rune) {
		row := rowOf(y)
		if x >= 0 && x < width && row >= 0 && row < height {
			field[row][x] = mark
		}
	}
	for _, y := range c.Limits {
		for x := range width {
			set(x, y, '-')
		}
	}
	for _, b := range c.Ahead {
		set(column(b.At), b.Y-b.Half, ':')
		set(column(b.At), b.Y+b.Half, ':')
	}
	for _, b := range c.Ahead {
		set(column(b.At), b.Y, '.')
	}
	for _, s := range c.Sets {
		for _, d := range s.Dots {
			set(column(d.At), d.Y, s.Mark)
		}
	}
	labels, wide := make([]string, height), 0
	label := func(y float64) {
		if row := rowOf(y); row >= 0 && row < height && labels[row] == "" {
			labels[row] = fmt.Sprintf("%.4g", y)
			wide = max(wide, len(labels[row]))
		}
	}
	for _, y := range c.Limits {
		label(y)
	}
	if f.low < 0 && f.high > 0 {
		label(0)
	}
	if len(c.Limits) < 2 {
		label(f.high)
		label(f.low)
	}
	lines := []string{strings.Repeat(" ", wide+1) + c.Y}
	for k, row := range field {
		lines = append(lines, fmt.Sprintf("%*s |%s", wide, labels[k], strings.TrimRight(string(row), " ")))
	}
	return append(lines, strings.Repeat(" ", wide+1)+"+"+strings.Repeat("-", width), strings.Repeat(" ", wide+2)+f.years(width))
}

// years writes the dates of both ends and, between them, years where they fit.
func (f frame) years(width int) string {
	line := []rune(strings.Repeat(" ", width+8))
	put := func(x int, text string) bool {
		if x < 0 || x+len(text) > len(line) || strings.TrimSpace(string(line[max(0, x-1):min(len(line), x+len(text)+1)])) != "" {
			return false
		}
		copy(line[x:], []rune(text))
		return true
	}
	first, last := time.Unix(int64(f.left), 0).UTC(), time.Unix(int64(f.right), 0).UTC()
	put(0, first.Format(time.DateOnly))
	put(width-10, last.Format(time.DateOnly))
	for _, t := range (dates{}).Ticks(f.left, f.right) {
		put(int(math.Round((t.Value-f.left)/(f.right-f.left)*float64(width-1))), t.Label)
	}
	return strings.TrimRight(string(line), " ")
}
