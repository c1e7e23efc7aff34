package dcc

import (
	"bytes"
	"encoding/xml"
	"hash/fnv"
	"reflect"
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// awkward texts that a record may hold in any place.
var awkward = []string{
	"", " ", "<script>alert('x')</script>&amp;]]>", "bell \a, escape \x1b[31m, nul \x00, feed \f, delete \x7f, C1 \u0085", "bytes \xff\xfe\x80", "\ufffe\uffff \ufdd0",
	"override \u202egnp.exe\u202c mark \u200f isolate \u2066x\u2069", "שלום, מס׳ 42 (ABC) עולם", "عميل رقم ١٢", "漢字 and 🙂", "combining e\u0301 a\u030a", "\n line one\nline two\r\nline three \t",
	strings.Repeat("unbroken", 1250), strings.Repeat("many words ", 910), "<!-- --> <?php ?> <!DOCTYPE x [<!ENTITY a \"b\">]> &a;",
}

// awkwardRecord is a record with an awkward text in the place of every text;
// equal texts are replaced by equal ones.
func awkwardRecord(t testing.TB) record.Record {
	r := foundRecord(t)
	r.Corrects = correctedRecord(t).Corrects
	r.Job.Limited = leftRecord(t).Job.Limited
	country := r.Laboratory.Country
	spoil(reflect.ValueOf(&r).Elem())
	r.Laboratory.Country = country
	return r
}

func spoil(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		if v.Type().PkgPath() == "" && v.CanSet() { // no words of ours, such as kinds of run
			h := fnv.New32a()
			_, _ = h.Write([]byte(v.String()))
			v.SetString(awkward[h.Sum32()%uint32(len(awkward))])
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for k := range v.NumField() {
			if v.Type().Field(k).IsExported() {
				spoil(v.Field(k))
			}
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			spoil(v.Elem())
		}
	case reflect.Slice:
		for k := range v.Len() {
			spoil(v.Index(k))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			one := reflect.New(v.Type().Elem()).Elem()
			one.Set(v.MapIndex(k))
			spoil(one)
			v.SetMapIndex(k, one)
		}
	}
}

func TestAwkwardTextsSurvive(t *testing.T) {
	for _, row := range []struct{ in, want string }{
		{awkward[2], awkward[2]}, {awkward[3], "bell [U+0007], escape [U+001B][31m, nul [U+0000], feed [U+000C], delete [U+007F], C1 [U+0085]"},
		{awkward[4], "bytes [xFF][xFE][x80]"}, {awkward[5], "[U+FFFE][U+FFFF] [U+FDD0]"}, {awkward[6], "override [U+202E]gnp.exe[U+202C] mark [U+200F] isolate [U+2066]x[U+2069]"},
		{awkward[7], awkward[7]}, {awkward[8], awkward[8]}, {awkward[9], awkward[9]}, {awkward[11], "line one\nline two\nline three"}, {awkward[12], awkward[12]}, {awkward[13], strings.TrimSpace(awkward[13])}, {awkward[14], awkward[14]},
		{awkward[0], notStated}, {awkward[1], notStated},
	} {
		r := leftRecord(t)
		r.Job.Customer, r.Job.Asset = row.in, row.in
		root := parsed(t, certified(t, Options{}, r))
		require.Empty(t, faults(root))
		require.Equal(t, row.want, root.says(t, "dcc:administrativeData", "dcc:customer", "dcc:name", "dcc:content"))
		asset := ""
		for _, n := range root.all("dcc:administrativeData", "dcc:items", "dcc:item", "dcc:identifications", "dcc:identification") {
			if n.says(t, "dcc:issuer") == "customer" {
				asset = n.says(t, "dcc:value")
			}
		}
		if row.want == notStated {
			row.want = "" // an identification that is not stated is left out
		}
		require.Equal(t, strings.ReplaceAll(row.want, "\n", " "), asset)
	}
}

// Any text comes back from the file as it was cleaned, and cleaning is done once.
func FuzzText(f *testing.F) {
	for _, s := range awkward {
		f.Add(s[:min(len(s), 200)])
	}
	f.Fuzz(func(t *testing.T, s string) {
		want := clean(s)
		require.Equal(t, want, clean(want))
		file, err := xml.Marshal(free(s))
		require.NoError(t, err)
		var back struct {
			Content string `xml:"content"`
		}
		require.NoError(t, xml.Unmarshal(bytes.ReplaceAll(file, []byte("dcc:"), nil), &back))
		if want == "" {
			want = notStated
		}
		require.Equal(t, strings.ReplaceAll(want, "dcc:", ""), back.Content)
		require.False(t, strings.ContainsFunc(want, odd))
	})
}
