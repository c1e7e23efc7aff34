package record

import (
	"bytes"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var canonicalTexts = map[string]bool{
	`{}`: true, `{"a":[],"b":{},"c":[1,-2,0,1.5,1e+21,5e-324,null,true,false,"x"]}`: true, `{"":1}`: true,
	"{\"a\":\"\\b\\t\\n\\f\\r\\\"\\\\\\u0000\\u001f/<ß€😀\u007f\u2028\"}": true, `{"a":{"b":[0.1,123456789012345,-7,"\n\u0001é",null],"c":""},"d":"x"}`: true,
	``: false, `[]`: false, `{} `: false, ` {}`: false, `{"a":1,}`: false, `{"a":1"b":2}`: false, `{"b":1,"a":2}`: false, `{"a":1,"a":2}`: false, `{"a" :1}`: false, `{"a":[1,]}`: false, `{"a":[1 ]}`: false,
	`{"a":01}`: false, `{"a":-0}`: false, `{"a":1.0}`: false, `{"a":1E5}`: false, `{"a":1e5}`: false, `{"a":-}`: false, `{"a":0x1}`: false, `{"a":1_0}`: false, `{"a":Infinity}`: false, `{"a":1e400}`: false, `{"a":9007199254740993}`: false,
	`{"a":"\/"}`: false, `{"a":"\u0008"}`: false, `{"a":"\u001F"}`: false, `{"a":"\u0041"}`: false, `{"a":"\u00"}`: false, "{\"a\":\"\x01\"}": false, "{\"a\":\"\xff\"}": false, `{"a":"\`: false,
	`{"a":tru}`: false, `{"a":nullx}`: false, `{"a`: false, "{\"a\":\x00}": false,
}

// onlyCanonical: what isCanonical takes is what the transformation makes of it.
func onlyCanonical(t require.TestingT, text []byte) {
	if !isCanonical(text) {
		return
	}
	if is, err := recanonical(text); err != nil || !bytes.Equal(is, text) {
		t.Errorf("%q is taken for canonical, which is %q (%v)", text, is, err)
		t.FailNow()
	}
}

func TestIsCanonical(t *testing.T) {
	for text, want := range canonicalTexts {
		require.Equal(t, want, isCanonical([]byte(text)), text)
		onlyCanonical(t, []byte(text))
	}
	require.False(t, isCanonical(bytes.Repeat([]byte(`{"a":`), 1_000_000)), "what never ends")
	record, err := Record{Schema: Schema, ID: "µ"}.Encode()
	require.NoError(t, err)
	require.True(t, isCanonical(record), "records are read once")
	texts := [][]byte{record}
	for text := range canonicalTexts {
		texts = append(texts, []byte(text))
	}
	slices.SortFunc(texts, bytes.Compare)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(texts).Draw(t, "text")
		for range rapid.IntRange(1, 3).Draw(t, "changes") {
			at := rapid.IntRange(0, len(text)).Draw(t, "at")
			put := rapid.SampledFrom([]string{"", " ", "0", "1", "-", ".", "e", "+", "\"", "\\", "u00", "{", "}", "[", "]", ",", ":", "a", "\x00", "\x7f", "\xc3", "é", "null", "\"z\":1,"}).Draw(t, "put")
			text = slices.Concat(text[:at], []byte(put), text[min(len(text), at+rapid.IntRange(0, 2).Draw(t, "instead of")):])
		}
		onlyCanonical(t, text)
	})
}

func FuzzIsCanonical(f *testing.F) {
	for text := range canonicalTexts {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) { onlyCanonical(t, text) })
}
