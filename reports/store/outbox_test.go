package store_test

import (
	"fmt"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/notify"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Whatever happens to it: an event that was kept is waiting, given up or
// delivered, and each address gets its own in the order in which they were kept.
func outboxLosesNothing(t *testing.T, place empty) {
	const each = 25 // runs on one store: what was delivered stays, and is listed at each step
	var o notify.Outbox
	run, outer := 0, t
	rapid.Check(t, func(t *rapid.T) {
		if run%each == 0 {
			o = open(outer, place(outer)).Outbox()
		}
		run++
		ctx := t.Context()
		at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
		address := func(t *rapid.T) string {
			return fmt.Sprintf("run %d / %d", run, rapid.IntRange(0, 2).Draw(t, "address"))
		}
		still, refused, delivered := map[string][]string{}, map[string][]string{}, map[string]int{}
		n := 0
		t.Repeat(map[string]func(*rapid.T){
			"add": func(t *rapid.T) {
				n++
				a, once := address(t), fmt.Sprint(n)
				for range rapid.IntRange(1, 2).Draw(t, "times") { // the second one changes nothing
					require.NoError(t, o.Add(ctx, notify.Waiting{Address: a, Once: once, Event: []byte("{}"), Added: at, NextTry: at,
						Receiver: procedures.Notify{To: procedures.ToWebhook}}))
				}
				still[a] = append(still[a], once)
			},
			"try": func(t *rapid.T) {
				a := address(t)
				w, ok, err := o.Next(ctx, a)
				require.NoError(t, err)
				require.Equal(t, len(still[a]) > 0, ok)
				if !ok {
					return
				}
				require.Equal(t, still[a][0], w.Once, "the oldest first")
				mine, err := o.Claim(ctx, w, at.Add(time.Minute))
				require.NoError(t, err)
				require.True(t, mine)
				again, err := o.Claim(ctx, w, at.Add(time.Minute))
				require.NoError(t, err)
				require.False(t, again, "another program has read the same and comes late")
				switch rapid.IntRange(0, 2).Draw(t, "outcome") {
				case 0:
					require.NoError(t, o.Delivered(ctx, w, at))
					delivered[a]++
					still[a] = still[a][1:]
				case 1:
					require.NoError(t, o.Failed(ctx, w, "away", at.Add(time.Hour)))
				case 2:
					require.NoError(t, o.GiveUp(ctx, w, "refused"))
					refused[a] = append(refused[a], w.Once)
					still[a] = still[a][1:]
				}
			},
			"drop": func(t *rapid.T) {
				a := address(t)
				got, err := o.Drop(ctx, a)
				require.NoError(t, err)
				require.Equal(t, len(still[a])+len(refused[a]), got)
				delete(still, a)
				delete(refused, a)
			},
			"": func(t *rapid.T) {
				all, err := o.List(ctx, true)
				require.NoError(t, err)
				waiting, gone, sent := map[string][]string{}, map[string]int{}, map[string]int{}
				for _, w := range all {
					switch {
					case !w.Delivered.IsZero():
						sent[w.Address]++
					case w.GivenUp:
						gone[w.Address]++
					default:
						waiting[w.Address] = append(waiting[w.Address], w.Once)
					}
				}
				for k := range 3 {
					a := fmt.Sprintf("run %d / %d", run, k)
					require.ElementsMatch(t, still[a], waiting[a])
					require.Equal(t, len(refused[a]), gone[a])
					require.Equal(t, delivered[a], sent[a])
				}
			},
		})
	})
}
