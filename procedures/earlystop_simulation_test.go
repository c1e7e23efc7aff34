package procedures_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// virtualUnit is a unit of the simulation: what its readings are, and whether it
// ought to be accepted.
type virtualUnit struct {
	kind   string
	good   bool
	first  []sample // what a first look reads, in order
	second []sample
}

// sample is one reading: an error in Hz, or none where the unit did not count.
type sample struct {
	error   float64
	missing bool
}

const (
	steadyUnit       = "steady"
	marginalUnit     = "near the limit"
	noisyUnit        = "noisy"
	intermittentUnit = "intermittent"
)

// drawUnit makes one unit of a shop's mix: most are steady, with errors that lie
// within the limit (60 Hz) for 19 of 20; one in ten lies within a tenth of the
// limit, one in ten scatters by up to three counts (of 10 Hz); the stated share
// is intermittent: otherwise good, its readings go wrong at a quarter to twice the
// stated rate, by a count that fails or by a wrong one.
func drawUnit(r *rand.Rand, e procedures.EarlyStop, n int) virtualUnit {
	const q, limit = 10.0, 60.0
	u := virtualUnit{kind: steadyUnit}
	truth, noise, rate, lost := r.NormFloat64()*limit/1.96, 0.0, 0.0, false
	switch x := r.Float64(); {
	case x < e.Share.Float():
		u.kind = intermittentUnit
		truth = r.NormFloat64() * limit / 4
		rate = math.Min(e.Rate.Float()*math.Exp2(r.Float64()*3-2), 1)
		lost = r.Float64() < 0.5
	case x < e.Share.Float()+0.1:
		u.kind = marginalUnit
		truth = limit * (0.9 + 0.2*r.Float64())
	case x < e.Share.Float()+0.2:
		u.kind = noisyUnit
		noise = 3 * q * r.Float64()
	}
	u.good = math.Abs(truth) <= limit && u.kind != intermittentUnit
	look := func() []sample {
		list := make([]sample, n)
		for k := range list {
			list[k].error = q * math.Floor((truth+noise*r.NormFloat64())/q+r.Float64())
			if r.Float64() < rate {
				list[k].missing = lost
				list[k].error += 100 * q
			}
		}
		return list
	}
	u.first, u.second = look(), look()
	return u
}

// judged is what a run makes of a unit: with a rule it may stop early, with nil
// it takes all readings. taken is the number of readings.
func judged(t *testing.T, u virtualUnit, rule *procedures.StopRule) (accepted bool, taken int) {
	t.Helper()
	simple := decision.Rule{Name: decision.Simple}
	m, missing := near(), 0
	look := func(list []sample, rule *procedures.StopRule) {
		for _, x := range list {
			if taken++; x.missing {
				missing++
			} else {
				m.Readings = append(m.Readings, m.Reference.Add(quantity.ExactFloat(x.error)))
			}
			if rule == nil {
				continue
			}
			stop, err := rule.Enough(simple, m, missing, len(list))
			require.NoError(t, err)
			if stop {
				return
			}
		}
	}
	scatters := func() bool {
		return procedures.Spread(m.Readings).Cmp(m.Limit.Scatter().Mul(quantity.ExactInt(2))) > 0
	}
	look(u.first, rule)
	if missing == 0 && scatters() {
		m.Also, m.Readings = m.Readings, nil
		look(u.second, nil)
		if missing == 0 && scatters() {
			return false, taken // unstable
		}
	}
	if missing > 0 {
		return false, taken // no count
	}
	j, err := procedures.Judge(simple, m)
	require.NoError(t, err)
	return j.Verdict.Good(), taken
}

// pairedInterval is the 95 % interval of the difference between two shares of the
// same units: a have both, b the first only, c the second only, d neither (R. G.
// Newcombe, Statist. Med. 17 (1998) 2635, method 10).
func pairedInterval(a, b, c, d float64) (difference, low, high float64) {
	const z = 1.959963984540054
	n := a + b + c + d
	wilson := func(x float64) (p, l, u float64) {
		p = x / n
		middle, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
		return p, (middle - half) / (1 + z*z/n), (middle + half) / (1 + z*z/n)
	}
	p1, l1, u1 := wilson(a + b)
	p2, l2, u2 := wilson(a + c)
	phi := 0.0
	if product := (a + b) * (c + d) * (a + c) * (b + d); product > 0 {
		excess := a*d - b*c
		if excess > 0 {
			excess = math.Max(excess-n/2, 0)
		}
		phi = excess / math.Sqrt(product)
	}
	reach := func(x, y float64) float64 { return math.Sqrt(x*x - 2*phi*x*y + y*y) }
	return p1 - p2, p1 - p2 - reach(p1-l1, u2-p2), p1 - p2 + reach(u1-p1, p2-l2)
}

func TestPairedInterval(t *testing.T) {
	c := stopChecks(t)["paired-difference"]
	difference, low, high := pairedInterval(c.Both, c.First, c.Second, c.Neither)
	require.InDelta(t, c.Difference, difference, c.Tolerance)
	require.InDelta(t, c.Low, low, c.Tolerance)
	require.InDelta(t, c.High, high, c.Tolerance)
}

// stopTrial is a mix of units read in full and with an early stop.
type stopTrial struct {
	name  string
	stop  procedures.EarlyStop
	n     int
	least int // 0: as the early stop has it
	holds bool
}

// Over 10,000 virtual units, intermittent ones among them, stopping early raises
// the share of units that are wrongly accepted by no more than the margin, with
// 95 % confidence; one reading would not do.
func TestEarlyStopIsNotInferior(t *testing.T) {
	const units, margin = 10_000, 0.002
	demo := procedures.EarlyStop{Rate: share(0.5), Detection: share(0.75), Share: share(0.005)}
	thorough := procedures.EarlyStop{Rate: share(0.3), Detection: share(0.9), Share: share(0.005)}
	rows := []string{fmt.Sprintf("Written by procedures/earlystop_simulation_test.go (UPDATE_CHECKS=1): %d virtual units, each read in full and with an early stop.", units),
		"Rise: share of units wrongly accepted early less share wrongly accepted in full; 95 % interval by R. G. Newcombe, Statist. Med. 17 (1998) 2635, method 10.", "",
		"| trial | readings planned | least | wrongly accepted in full | early | of them intermittent, in full | early | rise, % | 95 % interval, % | margin, % | readings taken | wrongly rejected in full | early |",
		"| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"}
	for _, c := range []stopTrial{
		{"rate 50 %, detection 75 %, share 0.5 %", demo, 3, 0, true},
		{"rate 30 %, detection 90 %, share 0.5 %", thorough, 10, 0, true},
		{"the same, but one reading may pass", thorough, 10, 1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rule := procedures.StopRule{Least: c.stop.Least(c.n), Confirm: 2, Confidence: 0.99}
			if c.least > 0 {
				rule.Least = c.least
			}
			r := rand.New(rand.NewPCG(20261126, uint64(c.n)))
			var both, early, full, neither float64
			var wrong, rejected [2]int // of intermittent units accepted; of good ones rejected
			taken, whole := 0, 0
			for range units {
				u := drawUnit(r, c.stop, c.n)
				yesEarly, k := judged(t, u, &rule)
				yesFull, n := judged(t, u, nil)
				taken, whole = taken+k, whole+n
				for i, yes := range []bool{yesFull, yesEarly} {
					if yes && u.kind == intermittentUnit {
						wrong[i]++
					}
					if !yes && u.good {
						rejected[i]++
					}
				}
				switch yesEarly, yesFull = yesEarly && !u.good, yesFull && !u.good; {
				case yesEarly && yesFull:
					both++
				case yesEarly:
					early++
				case yesFull:
					full++
				default:
					neither++
				}
			}
			rise, low, high := pairedInterval(both, early, full, neither)
			row := fmt.Sprintf("| %s | %d | %d | %.0f | %.0f | %d | %d | %+.3f | %+.3f to %+.3f | %.1f | %.0f %% | %d | %d |", c.name, c.n, rule.Least, both+full, both+early, wrong[0], wrong[1],
				rise*100, low*100, high*100, margin*100, 100*float64(taken)/float64(whole), rejected[0], rejected[1])
			t.Log(row)
			rows = append(rows, row)
			require.Equal(t, c.holds, high <= margin, "rise %.4f, 95 %% interval %.4f to %.4f, margin %.4f", rise, low, high, margin)
			if !c.holds {
				require.Greater(t, low, margin, "shown to be inferior, not merely not shown to be non-inferior")
			}
			require.Less(t, taken, whole)
		})
	}
	const file = "../testdata/checks/RESULTS-earlystop.md"
	text := strings.Join(rows, "\n") + "\n"
	if os.Getenv("UPDATE_CHECKS") == "1" {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err, "set UPDATE_CHECKS=1 to make it, and read it")
	require.Equal(t, string(want), text, "set UPDATE_CHECKS=1 to write it anew, and read the change")
}
