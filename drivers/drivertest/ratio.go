package drivertest

import (
	"testing"
	"time"
)

// Ratio compares two ways to do the same work in one run, in turns of a few
// milliseconds so that whatever else the machine does hits both alike. It
// reports round trips per second of ours, and ours as a share of the bare way
// (more is better; 1 is no overhead).
func Ratio(b *testing.B, ours, bare func() error) {
	b.Helper()
	const turn = 50 // round trips
	spent := [2]time.Duration{}
	rounds := 0
	for b.Loop() {
		for i, way := range []func() error{ours, bare} {
			begin := time.Now()
			for range turn {
				if err := way(); err != nil {
					b.Fatal(err)
				}
			}
			spent[i] += time.Since(begin)
		}
		rounds += turn
	}
	b.ReportMetric(float64(rounds)/spent[0].Seconds(), "trips/s")
	b.ReportMetric(spent[1].Seconds()/spent[0].Seconds(), "of-bare")
	b.ReportMetric(0, "ns/op") // of both ways together, which means nothing
}
