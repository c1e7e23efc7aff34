package virtual

import "testing"

// BenchmarkQuery is one question and its answer, the link left out.
func BenchmarkQuery(b *testing.B) {
	s, err := DefaultScenario()
	if err != nil {
		b.Fatal(err)
	}
	bench, err := New(s, Options{Clock: NewInstantClock()})
	if err != nil {
		b.Fatal(err)
	}
	for _, q := range []string{"*IDN?", "READ?", "STAT:QUES:COND?"} {
		b.Run(q, func(b *testing.B) {
			x := &session{b: bench, dev: bench.counter, ctx: b.Context()}
			for b.Loop() {
				if _, has, err := x.execute(q); !has || err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
