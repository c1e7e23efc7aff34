package record

import (
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"math"
	"reflect"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The examples of RFC 8785: sections 3.2.2 and 3.2.4 (with the bytes that the
// text shows), 3.2.3. From memory; the first also as public tests of other
// programs have it.
func TestCanonicalExamples(t *testing.T) {
	got, err := recanonical([]byte(`{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}`))
	require.NoError(t, err)
	require.Equal(t, `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`, string(got))
	require.Equal(t, "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b3333333333333333332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d",
		hex.EncodeToString(got))

	got, err = recanonical([]byte(`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`))
	require.NoError(t, err)
	require.Equal(t, `{"\r":"Carriage Return","1":"One","`+"\u0080"+`":"Control","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign","😀":"Emoji: Grinning Face","`+"\ufb33"+`":"Hebrew Letter Dalet With Dagesh"}`, string(got))
}

// RFC 8785, Appendix B: numbers by their IEEE 754 bytes. From memory.
func TestCanonicalNumbers(t *testing.T) {
	for bits, want := range map[string]string{
		"0000000000000000": "0", "8000000000000000": "0", "0000000000000001": "5e-324", "8000000000000001": "-5e-324",
		"7fefffffffffffff": "1.7976931348623157e+308", "ffefffffffffffff": "-1.7976931348623157e+308", "4340000000000000": "9007199254740992",
		"c340000000000000": "-9007199254740992", "4430000000000000": "295147905179352830000", "44b52d02c7e14af5": "9.999999999999997e+22",
		"44b52d02c7e14af6": "1e+23", "44b52d02c7e14af7": "1.0000000000000001e+23", "444b1ae4d6e2ef4e": "999999999999999700000",
		"444b1ae4d6e2ef4f": "999999999999999900000", "444b1ae4d6e2ef50": "1e+21", "3eb0c6f7a0b5ed8c": "9.999999999999997e-7", "3eb0c6f7a0b5ed8d": "0.000001",
		"41b3de4355555553": "333333333.3333332", "41b3de4355555554": "333333333.33333325", "41b3de4355555555": "333333333.3333333", "41b3de4355555556": "333333333.3333334",
		"41b3de4355555557": "333333333.33333343", "becbf647612f3696": "-0.0000033333333333333333", "43143ff3c1cb0959": "1424953923781206.2",
	} {
		raw, err := hex.DecodeString(bits)
		require.NoError(t, err)
		f := math.Float64frombits(binary.BigEndian.Uint64(raw))
		got, err := canonical(f)
		require.NoError(t, err)
		require.Equal(t, want, string(got), bits)
		got, err = recanonical([]byte(strconv.FormatFloat(f, 'e', -1, 64)))
		require.NoError(t, err)
		require.Equal(t, want, string(got), bits)
	}
	for _, none := range []float64{math.NaN(), math.Inf(1)} {
		_, err := canonical(none)
		require.Error(t, err)
	}
}

// The canonical form of a canonical text is itself, and says the same.
func TestCanonicalIsIdempotent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := map[string]any{}
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			v[rapid.String().Draw(t, "name")] = rapid.OneOf(rapid.Map(rapid.String(), func(s string) any { return s }),
				rapid.Map(rapid.Float64Range(-1e300, 1e300), func(f float64) any { return f })).Draw(t, "value")
		}
		text, err := canonical(v)
		if err != nil {
			t.Fatal(err)
		}
		if err := checkCanonical(text); err != nil {
			t.Fatal(err)
		}
		var back map[string]any
		if err := json.Unmarshal(text, &back); err != nil || !reflect.DeepEqual(back, v) {
			t.Fatal(err, back, v)
		}
	})
}
