package sheet

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"testing"
	"time"

	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// writers are all there are.
var writers = []struct {
	name  string
	write func(*Sheet, io.Writer) error
}{{"pdf", (*Sheet).PDF}, {"html", (*Sheet).HTML}, {"xlsx", (*Sheet).XLSX}, {"csv", (*Sheet).CSV}, {"txt", (*Sheet).Text}, {"none", func(*Sheet, io.Writer) error { return nil }}}

// countingWriter keeps nothing but the number of bytes.
type countingWriter struct{ n int64 }

func (w *countingWriter) Write(p []byte) (int, error) { w.n += int64(len(p)); return len(p), nil }

// Names of the variables by which a benchmark tells its child what to write.
const benchWriter, benchPoints = "BANDPROOF_BENCH_WRITER", "BANDPROOF_BENCH_POINTS"

// BenchmarkSheet writes a data sheet of one run with so many points, each in a
// process of its own, and reports seconds for writing, seconds of processor time
// of the whole process (which other work on the machine does not lengthen), the
// most memory that process had (VmHWM, record included), how much was there before
// writing, and the size. The writer "none" shows what the record alone takes,
// whose points share the readings of the fixture.
func BenchmarkSheet(b *testing.B) {
	for _, w := range writers {
		for _, n := range []int{60, 1000, 10_000, 100_000} {
			b.Run(fmt.Sprintf("%s/%d", w.name, n), func(b *testing.B) {
				var seconds, cpu, peak, before, size float64
				for b.Loop() {
					cmd := exec.Command(os.Args[0], "-test.run=^TestWriteInChild$", "-test.v")
					cmd.Env = append(os.Environ(), benchWriter+"="+w.name, benchPoints+"="+strconv.Itoa(n))
					out, err := cmd.CombinedOutput()
					require.NoError(b, err, string(out))
					cpu = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
					got := childLine.FindStringSubmatch(string(out))
					require.NotNil(b, got, string(out))
					for k, to := range []*float64{&seconds, &before, &peak, &size} {
						*to, err = strconv.ParseFloat(got[k+1], 64)
						require.NoError(b, err)
					}
				}
				b.ReportMetric(0, "ns/op") // that of a process is of no interest
				b.ReportMetric(seconds, "s")
				b.ReportMetric(cpu, "cpu-s")
				b.ReportMetric(peak/1024, "MB-peak")
				b.ReportMetric(before/1024, "MB-before")
				b.ReportMetric(size/float64(n), "bytes/point")
			})
		}
	}
}

var childLine = regexp.MustCompile(`wrote in ([0-9.e+-]+) s, ([0-9]+) kB before, ([0-9]+) kB at most, ([0-9]+) bytes`)

// TestWriteInChild is what BenchmarkSheet runs in a process of its own.
func TestWriteInChild(t *testing.T) {
	name := os.Getenv(benchWriter)
	if name == "" {
		name = "none" // a run with all others: nothing but that it works
	}
	n := 60
	if text := os.Getenv(benchPoints); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	r := fixture(t, runner.AsFound)
	r.Run.Points = many(r.Run.Points, n)
	s := sheetOf(t, r)
	for _, w := range writers {
		if w.name != name {
			continue
		}
		before, out, start := status(t, "VmRSS"), &countingWriter{}, time.Now()
		require.NoError(t, w.write(s, out))
		t.Logf("wrote in %g s, %d kB before, %d kB at most, %d bytes", time.Since(start).Seconds(), before, status(t, "VmHWM"), out.n)
		return
	}
	t.Fatalf("no writer %q", name)
}

// status is a value in kB of what the kernel says of this process (proc(5)); 0
// where there is no such file.
func status(t *testing.T, name string) int {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	got := regexp.MustCompile(`(?m)^` + name + `:\s+([0-9]+) kB$`).FindSubmatch(text)
	require.NotNil(t, got)
	n, err := strconv.Atoi(string(got[1]))
	require.NoError(t, err)
	return n
}
