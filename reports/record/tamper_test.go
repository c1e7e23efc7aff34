package record_test

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// testKey signs what tests keep, otherKey what a forger makes.
var (
	testKey  = ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	otherKey = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
)

var sealedAt = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

func seal(t require.TestingT, r record.Record, at record.Link, key ed25519.PrivateKey) record.Sealed {
	s, err := r.Seal(at, sealedAt, key)
	require.NoError(t, err)
	return s
}

// reads gives the record as it is read back.
func reads(t require.TestingT, r record.Record) record.Record {
	text, err := r.Encode()
	require.NoError(t, err)
	r, err = record.Decode(text)
	require.NoError(t, err)
	return r
}

// chain seals n records one behind the other.
func chain(t require.TestingT, name string, n int, key ed25519.PrivateKey) (list []record.Sealed) {
	at := record.Link{Chain: name, Number: 1}
	for k := range n {
		r := full()
		r.ID = fmt.Sprintf("%s-%d", name, k+1)
		list = append(list, seal(t, r, at, key))
		at = list[k].Next()
	}
	return list
}

func findings(s record.Sealed) []record.Finding {
	set := record.FileSet{Name: "x.json", Record: s.Bytes, Seal: s.SealBytes, Signature: s.Signature}
	return record.Examine(set.Kept()).Findings
}

func TestAnUntouchedRecordIsProven(t *testing.T) {
	require.Empty(t, findings(chain(t, "c", 1, testKey)[0]))
}

// Every byte of the three files, set to other values (another case, white space,
// a digit among them), and taken out or with another before it.
func TestEveryByteOfTheFilesCounts(t *testing.T) {
	small := full()
	small.Run.Outcomes, small.Run.PlannedTasks, small.Run.Inputs, small.Cautions, small.Standards = nil, 0, nil, nil, nil
	good := seal(t, small, record.Link{Chain: "c", Number: 1}, testKey)
	files := []struct {
		name  string
		bytes []byte
		with  func([]byte) record.Sealed
	}{
		{"record", good.Bytes, func(b []byte) record.Sealed {
			return record.Sealed{Bytes: b, SealBytes: good.SealBytes, Signature: good.Signature}
		}},
		{"seal", good.SealBytes, func(b []byte) record.Sealed {
			return record.Sealed{Bytes: good.Bytes, SealBytes: b, Signature: good.Signature}
		}},
		{"signature", good.Signature, func(b []byte) record.Sealed {
			return record.Sealed{Bytes: good.Bytes, SealBytes: good.SealBytes, Signature: b}
		}},
	}
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			tried := 0
			try := func(b []byte, what string) {
				tried++
				if len(findings(f.with(b))) == 0 {
					t.Fatalf("%s: not found", what)
				}
			}
			step := 1
			if testing.Short() && len(f.bytes) > 64 {
				step = 37
			}
			for at := 0; at < len(f.bytes); at += step {
				was := f.bytes[at]
				for _, to := range []byte{was ^ 1, was ^ 0x20, " 0"[at%2]} {
					if to != was {
						b := bytes.Clone(f.bytes)
						b[at] = to
						try(b, fmt.Sprintf("byte %d from %q to %q", at, was, to))
					}
				}
				if at%2 == 0 {
					try(append(bytes.Clone(f.bytes[:at]), f.bytes[at+1:]...), fmt.Sprintf("byte %d taken out", at))
				} else {
					in := " \n0"[at%3]
					try(append(append(bytes.Clone(f.bytes[:at]), in), f.bytes[at:]...), fmt.Sprintf("%q put in at %d", in, at))
				}
			}
			for _, in := range []string{" ", "\n", "0", "{}"} {
				try(append(bytes.Clone(f.bytes), in...), "something at the end")
			}
			try(nil, "all gone")
			t.Logf("%d changes of %d bytes", tried, len(f.bytes))
		})
	}
}

// The same at random in a record with all kinds of measurement.
func TestAnyChangeOfARecordIsFound(t *testing.T) {
	good := chain(t, "c", 1, testKey)[0]
	rapid.Check(t, func(t *rapid.T) {
		b := bytes.Clone(good.Bytes)
		from := rapid.IntRange(0, len(b)-1).Draw(t, "from")
		to := rapid.IntRange(from, min(len(b), from+40)).Draw(t, "to")
		put := rapid.OneOf(rapid.SliceOfN(rapid.Byte(), 0, 8), rapid.SampledFrom([][]byte{[]byte(" "), []byte(`"x":1,`), []byte("-1"), []byte("\t")})).Draw(t, "put")
		b = append(append(bytes.Clone(b[:from]), put...), b[to:]...)
		if bytes.Equal(b, good.Bytes) {
			t.Skip("nothing changed")
		}
		s, err := record.NewSealed(b, good.SealBytes, good.Signature)
		require.NoError(t, err)
		if len(s.Verify()) == 0 {
			t.Fatal("not found")
		}
	})
}

// What is said of a change names the part, and its values where the journal has
// what was sealed.
func TestWhereItWasChanged(t *testing.T) {
	r := full()
	second := r.Run.Points[0]
	second.Point.ID = "B-002"
	third := r.Run.Points[0]
	third.Point.ID = "B-003"
	r.Run.Points = append(r.Run.Points, second, third)
	good := seal(t, r, record.Link{Chain: "c", Number: 1}, testKey)
	journal := record.Original{Job: full().Job, Points: reads(t, r).Run.Points}
	change := func(old, new string) record.Sealed {
		s := good
		require.Contains(t, string(s.Bytes), old)
		s.Bytes = []byte(strings.Replace(string(s.Bytes), old, new, 1))
		return s
	}
	for name, c := range map[string]struct {
		s             record.Sealed
		plain, better []string
	}{
		"a reading": {change(`"text":"39999989.0"`, `"text":"39999999.0"`), []string{"point B-001 (/run/points/0) was changed after sealing"},
			[]string{`point B-001, readings/0/text (/run/points/0/readings/0/text): was "39999989.0", is "39999999.0"`}},
		"the customer":  {change(`evil`, `good`), []string{"the job (customer, unit, order) (/job) was changed after sealing"}, []string{"/job/customer", "evil", "good"}},
		"white space":   {change(`,"job":`, ", \"job\":"), []string{"only its form was changed", "all values are those that were sealed", "from byte"}, nil},
		"a member":      {change(`"invented":true`, `"invented":false`), []string{"the mark of invented data (/invented) was changed"}, nil},
		"a member gone": {change(`"invented":true,`, ``), []string{"the mark of invented data (/invented) was taken out"}, nil},
		"no JSON":       {change(`"invented":true`, `"invented"=true`), []string{"can't be read: from byte", `"=true`, "not JSON"}, nil},
	} {
		list := c.s.Verify()
		require.NotEmpty(t, list, name)
		for _, want := range c.plain {
			require.Contains(t, fmt.Sprint(list), want, name)
		}
		better := fmt.Sprint(c.s.Against(journal, list))
		for _, want := range c.better {
			require.Contains(t, better, want, name)
		}
	}
	// A point that is gone is not taken for a change of all behind it.
	r.Run.Points = append(r.Run.Points[:1:1], r.Run.Points[2])
	text, err := r.Encode()
	require.NoError(t, err)
	gone := good
	gone.Bytes = text
	list := gone.Verify()
	require.Len(t, list, 1)
	require.Equal(t, "point number 2 (/run/points/1) was taken out after sealing", list[0].Text)
	require.Contains(t, gone.Against(journal, list)[0].Was, "B-002")
}

// verify proves a chain in the given order.
func verify(expect record.Expect, list ...record.Sealed) record.Verification {
	w := record.NewVerifier("test", expect, false)
	for _, s := range list {
		w.Take(record.Examine(record.Kept{Sealed: s, Name: s.Seal.ID}))
	}
	return w.Done("")
}

func TestChains(t *testing.T) {
	c := chain(t, "c", 5, testKey)
	other := chain(t, "d", 3, testKey)
	forged := chain(t, "c", 5, otherKey)
	print := record.Fingerprint(testKey.Public().(ed25519.PublicKey))
	head := record.Expect{Head: c[4].Head(), Count: 5}
	keys := record.Expect{Keys: []string{print}}
	stray := full()
	stray.ID = "stray"
	fork := seal(t, stray, record.Link{Chain: "c", Number: 3, Previous: c[1].Head()}, testKey)
	inserted := seal(t, stray, c[4].Next(), testKey)
	renumbered := c[2]
	renumbered.SealBytes = bytes.Replace(renumbered.SealBytes, []byte(`"number":3`), []byte(`"number":4`), 1)
	renumbered, err := record.NewSealed(renumbered.Bytes, renumbered.SealBytes, renumbered.Signature)
	require.NoError(t, err)
	foreign := c[2]
	foreign.SealBytes, foreign.Seal, foreign.Signature = other[2].SealBytes, other[2].Seal, other[2].Signature
	require.True(t, verify(head, c...).Holds())
	require.True(t, verify(keys, c...).Holds())
	require.True(t, verify(record.Expect{Head: c[2].Head(), Count: 3}, c...).Holds(), "a sheet from before the last records")
	require.True(t, verify(record.Expect{}, append(c[:5:5], other...)...).Holds(), "two whole chains side by side")
	for name, x := range map[string]struct {
		v    record.Verification
		want string
	}{
		"one from the middle":  {verify(record.Expect{}, c[0], c[1], c[3], c[4]), "record number 3 of the chain is missing"},
		"two from the middle":  {verify(record.Expect{}, c[0], c[3], c[4]), "records number 2 to 3 of the chain are missing"},
		"the first":            {verify(record.Expect{}, c[1:]...), "record number 1 of the chain is missing"},
		"two swapped":          {verify(record.Expect{}, c[0], c[2], c[1], c[3], c[4]), "number 2 of its chain, but stands behind number 3"},
		"one put in":           {verify(record.Expect{}, c[0], c[1], inserted, c[2], c[3], c[4]), "records number 3 to 5 of the chain are missing"},
		"a fork":               {verify(record.Expect{}, c[0], c[1], c[2], fork, c[3], c[4]), "the chain forks here"},
		"another branch":       {verify(record.Expect{}, c[0], c[1], fork, c[3], c[4]), "sealed behind another record"},
		"renumbered":           {verify(record.Expect{}, c[0], c[1], renumbered, c[3], c[4]), "seal or signature was changed"},
		"seal of another":      {verify(record.Expect{}, c[0], c[1], foreign, c[3], c[4]), "the seal is of record"},
		"tail cut":             {verify(head, c[:4]...), "the tail was cut off: the data sheet tells of 5 records, here the last one is number 4"},
		"all cut":              {verify(head), "the tail was cut off"},
		"replaced, by key":     {verify(keys, forged...), "is signed by key " + record.Fingerprint(otherKey.Public().(ed25519.PublicKey)) + "; expected " + print},
		"replaced, by head":    {verify(head, forged...), "no chain has the head that was given"},
		"another store":        {verify(head, other...), "the tail was cut off"},
		"merged, by key":       {verify(keys, append(c[:5:5], chain(t, "e", 2, otherKey)...)...), "is signed by key"},
		"another one's record": {verify(record.Expect{}, c[0], other[1], c[2]), "record number 1 of the chain is missing"},
	} {
		require.False(t, x.v.Holds(), name)
		require.Contains(t, fmt.Sprint(x.v.Findings), x.want, name)
	}
	cut := verify(record.Expect{}, c[:4]...)
	require.True(t, cut.Holds())
	require.Contains(t, fmt.Sprint(cut.Open), "a tail that was cut off the store can't be excluded")
	require.Contains(t, fmt.Sprint(verify(record.Expect{}, forged...).Open), "compare the fingerprint with that on a data sheet")
	require.Equal(t, 5, verify(head, c...).Proven)
}

// A record from before there were seals is named as not proven, and is no alarm;
// one of today without a seal is.
func TestUnsealed(t *testing.T) {
	text, err := full().Encode()
	require.NoError(t, err)
	first := bytes.Replace(text, []byte("bandproof record 2"), []byte("bandproof record 1"), 1)
	v := verify(record.Expect{}, record.Sealed{Bytes: first})
	require.True(t, v.Holds())
	require.Equal(t, []int{1, 0, 1}, []int{v.Records, v.Proven, v.Unsealed})
	require.Contains(t, fmt.Sprint(v.Open), "1 record from before there were seals can't be proven")
	v = verify(record.Expect{}, record.Sealed{Bytes: text})
	require.Contains(t, fmt.Sprint(v.Findings), "has no seal, which every record of schema")
}
