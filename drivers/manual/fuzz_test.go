package manual_test

import (
	"testing"
	"unicode"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"
)

// FuzzEntry types anything at a reading: no panic, no hang; what is taken is
// text, and not far from the signal unless it was typed twice.
func FuzzEntry(f *testing.F) {
	for _, s := range []string{"10.000 003", "5", "-", "over", "1e3 kHz", "10,000003", "\x00\xff", "same", "1e-30", "10.000 0030"} {
		f.Add(s, s)
		f.Add(s, "10.000 003")
	}
	f.Fuzz(func(t *testing.T, first, second string) {
		p := &script{answers: []string{"", "", first, second}}
		c, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: panel, Person: p, Clock: virtual.NewInstantClock()})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.SelectInput(t.Context(), "A"); err != nil {
			t.Fatal(err)
		}
		if _, err := c.SetGate(t.Context(), duration("1 s")); err != nil {
			t.Fatal(err)
		}
		c.(drivers.Expecter).Expect(tenMHz)
		r, err := c.Read(t.Context())
		if err != nil || r.Mark != drivers.None || r.Frequency.Sign() == 0 {
			return
		}
		for _, x := range r.Text {
			if !unicode.IsGraphic(x) || x == unicode.ReplacementChar {
				t.Fatalf("text %q is kept with what is no text", r.Text)
			}
		}
		off := r.Frequency.Exact().Sub(tenMHz.Frequency.Exact()).Abs()
		if off.Cmp(tenMHz.Tolerance) > 0 && !r.Twice {
			t.Fatalf("%q was taken as %s at once", r.Text, r.Frequency)
		}
		if r.Twice != (len(r.Questioned) > 0 && r.Questioned[len(r.Questioned)-1].Why != "" && len(p.answers) == 0 && sameValue(r, first, second)) {
			t.Fatalf("%q then %q: twice is %v", first, second, r.Twice)
		}
	})
}

// sameValue tells whether both entries were the one that was taken.
func sameValue(r drivers.Reading, first, second string) bool {
	if len(r.Questioned) == 0 {
		return false
	}
	one, two := parsed(first), parsed(second)
	return one != "" && one == two
}

func parsed(text string) string {
	f, err := quantity.ParseEntry[quantity.Hertz](text, panel.Unit)
	if err != nil {
		return ""
	}
	return f.Decimal().Text('e')
}
