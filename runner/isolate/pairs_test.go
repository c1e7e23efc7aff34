package isolate_test

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/runner/isolate"

	"github.com/stretchr/testify/require"
)

// pair is two faults at once, with the first three suspects after the sweep.
type pair struct {
	First  string   `json:"first"`
	Second string   `json:"second"`
	Top    []string `json:"top"`
	Both   bool     `json:"both"`
	One    bool     `json:"one"`
}

// TestTwoFaults puts random pairs of faults in stages of one unit, and tells how
// often both are among the first three after the sweep. None is required: one
// fault may hide the other. It is kept in testdata/pairs.json for SHOWN.md.
func TestTwoFaults(t *testing.T) {
	n, good := demoModel(t), sweep(t, 1)
	usual, _ := faults(good.rig.Bench.Stages())
	draw := rand.New(rand.NewPCG(7, 7))
	kept := keptPairs(t)
	var list []pair
	for k := range 10 {
		a, b := usual[draw.IntN(len(usual))], usual[draw.IntN(len(usual))]
		for a.Stage == b.Stage {
			b = usual[draw.IntN(len(usual))]
		}
		p := pair{First: a.key(), Second: b.key()}
		if k%step() != 0 {
			continue
		}
		u := sweep(t, 3, virtual.Fault{Name: virtual.StageFault, Stage: a.Stage, Mode: a.Mode}, virtual.Fault{Name: virtual.StageFault, Stage: b.Stage, Mode: b.Mode})
		hits := 0
		for _, s := range infer(t, n, u.evidence()).Suspects()[:3] {
			if p.Top = append(p.Top, s.Stage); s.Stage == a.Stage || s.Stage == b.Stage {
				hits++
			}
		}
		p.Both, p.One = hits == 2, hits == 1
		t.Logf("%+v", p)
		if list = append(list, p); !*isolate.Update {
			require.Equal(t, kept[k], p, "if the change is meant, run with -update -every 1 and read it")
		}
	}
	if *isolate.Update && step() == 1 {
		keep(t, "testdata/pairs.json", list)
	}
}

func keptPairs(t *testing.T) (kept []pair) {
	t.Helper()
	if text, err := os.ReadFile("testdata/pairs.json"); err == nil {
		require.NoError(t, json.Unmarshal(text, &kept))
	}
	return kept
}
