package observation

import (
	"context"
	"errors"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
)

// Take asks the questions. Once nobody has answered one, the rest are not asked.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	var out runner.Outcome
	away := false
	for _, a := range t.Keys.(*keys).Asks {
		row, err := runner.NotJudgedRow(a.Question, decision.NoOperator, ""), error(nil)
		if !away {
			row, err = one(ctx, s, a)
		}
		switch {
		case errors.Is(err, runner.ErrNoOperator):
			away = true
			s.Entry(ctx, a.Question, "no operator")
		case err != nil:
			return out, err
		}
		if away && !a.judged() {
			row.Verdict, row.Says = decision.Verdict{}, "not answered: no operator"
		}
		out.Rows = append(out.Rows, row)
	}
	return out, nil
}

// one asks one question, with RF off.
func one(ctx context.Context, s *runner.Station, a ask) (runner.Row, error) {
	saw, err := s.Operator().Confirm(ctx, a.Question)
	if err != nil {
		return runner.NotJudgedRow(a.Question, decision.NoOperator, ""), err
	}
	row := runner.Row{What: a.Question, Says: no}
	if saw {
		row.Says = yes
	}
	s.Entry(ctx, a.Question, row.Says)
	good := row.Says == a.wants()
	if !good || a.Remark {
		text, err := s.Text(ctx, "in a few words: what is there to see?")
		if err != nil {
			return row, err
		}
		if text != "" {
			row.Says += ": " + text
		}
	}
	switch {
	case !a.judged():
	case good:
		row.Verdict.Word = decision.Pass
	default:
		row.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.NotAsExpected}
	}
	return row, nil
}
