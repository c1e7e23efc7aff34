package main

import (
	"context"
	"flag"
	"math"
	"net"
	"sync"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var overheadScale = flag.Float64("overhead-scale", 20, "how many times faster than real time BenchmarkRunOverhead lets gates and settling run")

// BenchmarkRunOverhead is what the program adds to gates and settling in the
// demo's as-found run: over TCP, with a store that syncs each point. The gates
// and settling times alone are those of the same run in model time. They run
// faster than real time here, which leaves the program's own part as it is, so
// that overhead-% is that of real time; -overhead-scale 1 measures it without
// that argument, in a hundred seconds. The overhead goes with the number of
// messages, that is of points and readings, and not with the length of gates.
// On a machine that has other work the least of several runs tells more
// (-benchtime 5x).
func BenchmarkRunOverhead(b *testing.B) {
	procedure, err := demoFiles.ReadFile("demo/procedure.toml")
	require.NoError(b, err)
	model, _ := demoOnce(b, string(procedure), runner.AsFound)
	alone := model.Finished.Sub(model.Started).Seconds()
	least, added, points, messages := math.Inf(1), 0.0, 0, 0
	for b.Loop() {
		scaled, err := virtual.NewScaledClock(*overheadScale)
		require.NoError(b, err)
		var mu sync.Mutex
		s, err := virtual.LoadScenario("virtual-bench.toml", demoScenario())
		require.NoError(b, err)
		bench, err := virtual.New(s, virtual.Options{Clock: scaled, Heard: func(string, string, string) {
			mu.Lock()
			defer mu.Unlock()
			messages++
		}})
		require.NoError(b, err)
		dial, stop := overTCP(b, bench)
		result, _ := demoOn(b, string(procedure), runner.AsFound, bench, scaled, dial)
		require.True(b, result.Complete)
		stop()
		require.NoError(b, bench.Close())
		once := (result.Finished.Sub(result.Started).Seconds() - alone) / *overheadScale
		least, added = min(least, once), added+once
		points += len(result.Points)
	}
	b.ReportMetric(added/float64(b.N)/alone*100, "overhead-%")
	b.ReportMetric(least/alone*100, "least-overhead-%")
	b.ReportMetric(added/float64(points)*1000, "overhead-ms/point")
	b.ReportMetric(float64(messages)/float64(points), "messages/point")
	b.ReportMetric(alone, "gates+settling-s")
}

// overTCP serves every instrument of a bench on a port of its own; stop ends that.
func overTCP(b *testing.B, bench *virtual.Bench) (dial dialer, stop func()) {
	ctx, cancel := context.WithCancel(b.Context())
	var serving sync.WaitGroup
	ports := map[string]string{}
	for _, i := range bench.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(b, err)
		ports[i.TCP] = l.Addr().String()
		serving.Go(func() { _ = bench.ServeListener(ctx, i.Name, l) })
	}
	dial = func(ctx context.Context, network, address string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, network, ports[address])
	}
	return dial, func() { cancel(); serving.Wait() }
}
