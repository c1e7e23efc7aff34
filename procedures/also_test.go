package procedures_test

import (
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// twoSources adds a source "G2" like G1 to a bench, with a path to input A before
// the one of G1; change may alter both.
func twoSources(t *testing.T, change func(b *procedures.Bench, s *procedures.Source, p *procedures.Path)) (*procedures.Procedure, *procedures.Bench) {
	t.Helper()
	p, b := with(t, nil, nil)
	s, path := b.Sources[0], b.Paths[0]
	s.Name, path.Name, path.Source = "G2", "P2", "G2"
	change(b, &s, &path)
	b.Sources = append([]procedures.Source{s}, b.Sources...)
	b.Paths = append([]procedures.Path{path}, b.Paths...)
	return p, b
}

func TestBetterSource(t *testing.T) {
	own := quantity.MustParse[quantity.One]("1e-7")
	for _, row := range []struct {
		name   string
		change func(b *procedures.Bench, s *procedures.Source, p *procedures.Path)
		source string // that is taken at 100 MHz
		also   []string
	}{
		{"all equal: the first in the bench file", func(*procedures.Bench, *procedures.Source, *procedures.Path) {}, "G2", []string{"G1"}},
		{"TUR better by less than a hundredth is no better", func(b *procedures.Bench, _ *procedures.Source, _ *procedures.Path) {
			b.Sources[0].Resolution = quantity.MustParse[quantity.Hertz]("1 µHz")
		}, "G2", []string{"G1"}},
		{"higher TUR", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Reference, s.OwnTimebase = "own", &own
		}, "G1", []string{"G2"}},
		{"equal TUR: no hand needed", func(b *procedures.Bench, _ *procedures.Source, _ *procedures.Path) { b.Paths[0].Fixed = true }, "G1", []string{"G2"}},
		{"equal TUR: reaches more of the input", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Range[0] = quantity.MustParse[quantity.Hertz]("50 MHz")
		}, "G1", []string{"G2"}},
		{"overdue, and no way for a second look either", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Due = procedures.Date{Time: now.AddDate(0, 0, -1).Truncate(24 * time.Hour)}
		}, "G1", nil},
		{"does not reach the point", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Range[1] = quantity.MustParse[quantity.Hertz]("99 MHz")
		}, "G1", nil},
		{"does not reach the level", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Level[1] = quantity.MustLevel("-90 dBm")
		}, "G1", nil},
		{"can't be set to the same frequency", func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
			s.Resolution, s.Reference, s.OwnTimebase = quantity.MustParse[quantity.Hertz]("7 Hz"), "own", &own
		}, "G1", nil},
		{"the same source over another cable is no second source", func(_ *procedures.Bench, s *procedures.Source, p *procedures.Path) {
			s.Name, p.Source = "unused", "G1"
		}, "G1", nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			p, b := twoSources(t, row.change)
			x := at(t, plan(t, p, b), "100 MHz")
			require.Equal(t, row.source, x.Source)
			var also []string
			for _, w := range x.Also {
				also = append(also, w.Source)
				require.Equal(t, x.Frequency, x.By(w).Frequency)
				require.Equal(t, w.Source, x.By(w).Source)
				require.Empty(t, x.By(w).Also)
			}
			require.Equal(t, row.also, also)
		})
	}
}

// A source whose uncertainty is larger than the limit shows nothing, so it is
// no second source.
func TestSecondSourceMustBeGoodEnough(t *testing.T) {
	poor := quantity.MustParse[quantity.One]("1e-4")
	p, b := twoSources(t, func(_ *procedures.Bench, s *procedures.Source, _ *procedures.Path) {
		s.Reference, s.OwnTimebase = "own", &poor
	})
	x := at(t, plan(t, p, b), "100 MHz")
	require.Equal(t, "G1", x.Source)
	require.Empty(t, x.Also)
}
