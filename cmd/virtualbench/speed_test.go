//go:build linux

package main

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"
)

// trips asks so often and prints the seconds that it took.
const trips = `
import sys, time, pyvisa
r = pyvisa.ResourceManager('@py').open_resource(sys.argv[1])
r.read_termination = '\n'; r.write_termination = '\n'; r.timeout = 8000
r.query('*IDN?')
begin = time.perf_counter()
for i in range(int(sys.argv[2])): r.query('*IDN?')
print(time.perf_counter() - begin)
`

// BenchmarkAgainstPyVISA compares round trips over a link with those of PyVISA
// with its '@py' backend, against the same virtual instrument in the same run.
func BenchmarkAgainstPyVISA(b *testing.B) {
	needPyVISA(b)
	port := filepath.Join(b.TempDir(), "source")
	places := served(b, "--tcp", "counter=127.0.0.1:0", "--pty", "LF="+port)
	for _, row := range []struct{ name, address string }{
		{"socket", places["counter"]}, {"serial", places["LF"]},
	} {
		b.Run(row.name, func(b *testing.B) { againstPyVISA(b, row.address) })
	}
}

// againstPyVISA gives each client the instrument in turn, as many take one at
// a time only.
func againstPyVISA(b *testing.B, address string) {
	const each = 500
	var ours, theirs time.Duration
	n := 0
	for b.Loop() {
		ours += askedBy(b, address, each)
		out, err := exec.Command(python, "-c", trips, address, fmt.Sprint(each)).Output()
		if err != nil {
			b.Fatal(err)
		}
		seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			b.Fatal(err)
		}
		theirs += time.Duration(seconds * float64(time.Second))
		n += each
	}
	b.ReportMetric(float64(n)/ours.Seconds(), "trips/s")
	b.ReportMetric(float64(n)/theirs.Seconds(), "pyvisa-trips/s")
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "of-pyvisa")
	b.ReportMetric(0, "ns/op") // of both together, which means nothing
}

func askedBy(b *testing.B, address string, times int) time.Duration {
	b.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	k, err := link.Opener{}.Open(ctx, link.Config{Address: address})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	if _, err := k.Query(ctx, []byte("*IDN?")); err != nil {
		b.Fatal(err)
	}
	begin := time.Now()
	for range times {
		if _, err := k.Query(ctx, []byte("*IDN?")); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(begin)
}
