package sheet

import (
	"math"
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The notice tells the owner what record.md 2.3 asks for: item, point, limit,
// as-found value with its uncertainty, ratio to the limit, last known good date,
// standards, date found; and which way the unit was off, and what is not concerned.
func TestOutOfToleranceNotice(t *testing.T) {
	r := withOutcomes(t, runner.AsFound)
	last := LastGood{"earlier-1", runner.AsLeft, time.Date(2025, 11, 20, 9, 0, 0, 0, time.UTC)}
	s, err := OutOfTolerance(r, last, UsuallySignificant)
	require.NoError(t, err)
	golden(t, "notice.text", textOf(t, s))
	for name, text := range map[string]string{"text": textOf(t, s), "pdf": strings.Join(pdftotext(t, pdfOf(t, s)), "\n"), "html": htmlOf(t, s)} {
		for _, want := range []string{"Out-of-tolerance notice", "TC3-0042", "EX-0815", "2025-11-20", "earlier-1", "EX-2026-0113", "End of notice"} {
			assert.Contains(t, text, want, name)
		}
	}
	rows := map[string][]cell{}
	for _, b := range s.build().Blocks {
		if x, ok := b.(*table); ok && strings.HasPrefix(x.Title, "Outside tolerance, with the error") {
			for _, row := range x.Rows {
				rows[row[2].Text] = row
			}
		}
	}
	failedWithValue := 0
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		if p.Verdict.Bad() && p.Counted > 0 {
			failedWithValue++
		}
	}
	require.Len(t, rows, failedWithValue)
	// 226 MHz: 352 Hz off, limit 213 Hz: 1.65 limits, reads high (fixture).
	var row []cell
	for f, x := range rows {
		if strings.HasPrefix(f, "226") {
			row = x
		}
	}
	require.NotNil(t, row)
	require.Equal(t, []string{"■", "high", "outside"}, []string{row[0].Text, row[9].Text, row[10].Text})
	require.Equal(t, "1.65", row[8].Text)
	// Half the frequency at 453 MHz: far beyond twice the limit, reads low.
	for f, x := range rows {
		if strings.HasPrefix(f, "45") {
			require.Equal(t, []string{"■■", "low", "significant"}, []string{x[0].Text, x[9].Text, x[10].Text}, f)
		}
	}

	unknown, err := OutOfTolerance(r, LastGood{}, UsuallySignificant)
	require.NoError(t, err)
	require.Contains(t, textOf(t, unknown), "not known to us")
}

func TestNoNoticeWithoutReason(t *testing.T) {
	good := fixture(t, runner.AsFound)
	good.Run.Statement = runner.WithinShown
	bare := fixture(t, runner.AsFound)
	bare.Job.Conformity = "no"
	withdrawn := fixture(t, runner.AsFound)
	withdrawn.Corrects = &record.Correction{ID: "x", Withdrawn: true}
	for _, c := range []struct {
		r           record.Record
		significant float64
		want        string
	}{
		{good, 2, "nothing is outside tolerance"},
		{fixture(t, runner.AsLeft), 2, "give the as-found record"},
		{bare, 2, "no conformity is stated"},
		{withdrawn, 2, "withdrawn"},
		{fixture(t, runner.AsFound), 0.5, "expected 1 or more"},
		{fixture(t, runner.AsFound), math.NaN(), "expected 1 or more"},
	} {
		_, err := OutOfTolerance(c.r, LastGood{}, c.significant)
		require.ErrorContains(t, err, c.want)
	}
	_, err := OutOfTolerance(good, LastGood{}, 2)
	require.ErrorIs(t, err, ErrNothingOutside)
}

// Awkward texts stay text, and a dead unit has its notice too.
func TestNoticeOfHostileRecord(t *testing.T) {
	for _, r := range []record.Record{hostile(t), dead(t)} {
		s, err := OutOfTolerance(r, LastGood{ID: "<b>\x1b", Kind: runner.AsFound}, 2)
		require.NoError(t, err)
		require.NotContains(t, htmlOf(t, s), "<script>alert")
		require.NotContains(t, textOf(t, s), "\x1b")
		require.Contains(t, strings.Join(pdftotext(t, pdfOf(t, s)), ""), "End of notice")
	}
}
