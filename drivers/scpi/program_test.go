package scpi

import (
	"errors"
	"strings"
	"testing"
)

func TestParseProgram(t *testing.T) {
	tests := []struct {
		in, want string
		code     int
	}{
		{"*IDN?", "*IDN?", 0},
		{" *rst \n", "*rst", 0},
		{"FREQ 1 MHZ", ":FREQ 1 MHZ", 0},
		{":SOUR:FREQ?", ":SOUR:FREQ?", 0},
		{"FREQ? MIN", ":FREQ? MIN", 0},
		{"SOUR:FREQ 1;POW -10 DBM", ":SOUR:FREQ 1 :SOUR:POW -10 DBM", 0},
		{"SOUR:FREQ 1;*OPC?;POW 2", ":SOUR:FREQ 1 *OPC? :SOUR:POW 2", 0},
		{"SOUR:FREQ:CW 1;STEP 2;:OUTP ON", ":SOUR:FREQ:CW 1 :SOUR:FREQ:STEP 2 :OUTP ON", 0},
		{"CONF:FREQ 1E6,0.1,(@2)", ":CONF:FREQ 1E6,0.1,(@2)", 0},
		{`DISP "a;b,c"; DISP2 1`, `:DISP "a;b,c" :DISP2 1`, 0},
		{"DATA #13;,;;X", ":DATA #13;,; :X", 0},
		{"*SRE 16", "*SRE 16", 0},
		{"", "", 0},
		{"FREQ 1;;POW 2", "", CodeSyntax},
		{"FREQ 1;", "", CodeSyntax},
		{"1FREQ", "", CodeSyntax},
		{"?", "", CodeSyntax},
		{":", "", CodeSyntax},
		{"A::B", "", CodeSyntax},
		{"A:", "", CodeSyntax},
		{"*", "", CodeSyntax},
		{"FREQ,1", "", CodeHeaderSeparator},
		{"FREQ??", "", CodeHeaderSeparator},
		{"FREQ\xff", "", CodeInvalidCharacter},
		{"FREQ 1,,2", "", CodeSyntax},
		{`FREQ "a`, "", CodeSyntax},
		{"GOOD 1;1BAD", ":GOOD 1", CodeSyntax},
	}
	for _, test := range tests {
		got, err := ParseProgram([]byte(test.in))
		var texts []string
		for _, c := range got {
			texts = append(texts, c.String())
		}
		var refused *Error
		code := 0
		if errors.As(err, &refused) {
			code = refused.Code
		}
		if strings.Join(texts, " ") != test.want || code != test.code || (err == nil) != (test.code == 0) {
			t.Errorf("ParseProgram(%q) is %q, %v; want %q, code %d", test.in, texts, err, test.want, test.code)
		}
	}
}

func TestPatternMatches(t *testing.T) {
	tests := []struct {
		pattern, header string
		numbers         []int
		ok              bool
	}{
		{"FREQuency", "FREQ", nil, true},
		{"FREQuency", "frequency", nil, true},
		{"FREQuency", "FREQU", nil, false},
		{"FREQuency", "FRE", nil, false},
		{"FREQuency", "FREQ1", nil, false},
		{":FREQuency[:CW]", "FREQ:CW", nil, true},
		{"FREQuency[:CW]", "FREQ", nil, true},
		{"FREQuency[:CW]", "FREQ:FIX", nil, false},
		{"[SOURce#:]FREQuency[:CW]", "SOUR2:FREQ", []int{2}, true},
		{"[SOURce#:]FREQuency[:CW]", "source:freq:cw", []int{1}, true},
		{"[SOURce#:]FREQuency[:CW]", "FREQ", []int{1}, true},
		{"[SOURce#:]FREQuency", "SOUR", nil, false},
		{"INPut#:IMPedance", "INP3:IMP", []int{3}, true},
		{"INPut#:IMPedance", "INP99999999999999999999:IMP", nil, false},
		{"INPut#:CHANnel#", "INP:CHAN4", []int{1, 4}, true},
		{"*IDN", "*idn", nil, true},
		{"*IDN", "IDN", nil, false},
		{"[A:][A:]A", "A:A", nil, true},
		{"E5", "E5", nil, true},
	}
	for _, test := range tests {
		numbers, ok := MustPattern(test.pattern).Match(test.header)
		same := len(numbers) == len(test.numbers)
		for i := range min(len(numbers), len(test.numbers)) {
			same = same && numbers[i] == test.numbers[i]
		}
		if ok != test.ok || !same {
			t.Errorf("%s on %s: %v, %t; want %v, %t", test.pattern, test.header, numbers, ok, test.numbers, test.ok)
		}
	}
}

func TestCompilePatternRefuses(t *testing.T) {
	for _, text := range []string{"", ":", "freq", "FREQ:", "[FREQ", "[FREQ]", "FR EQ", "FREQu_E", "*", "*I5", "A::B", "ÄA", "[]A", "A]B", "#", "A0#"} {
		if p, err := CompilePattern(text); err == nil || !strings.Contains(err.Error(), "pattern") {
			t.Errorf("CompilePattern(%q) is %+v, %v; want an error", text, p, err)
		}
	}
}

func TestArgumentValues(t *testing.T) {
	tests := []struct {
		in, unit, want string
		code           int
	}{
		{"1.5", "HZ", "1.5", 0},
		{"1.5E6", "HZ", "1.5E+6", 0},
		{"1 GHZ", "HZ", "1E+9", 0},
		{"100MHZ", "HZ", "1.00E+8", 0},
		{"100 mhz", "HZ", "1.00E+8", 0},
		{"100 MAHZ", "HZ", "1.00E+8", 0},
		{"1 khz", "HZ", "1E+3", 0},
		{"5 MOHM", "OHM", "5E+6", 0},
		{"5 MV", "V", "0.005", 0},
		{"5 MAV", "V", "5E+6", 0},
		{"100 MS", "S", "0.100", 0},
		{"10 US", "S", "0.000010", 0},
		{"5 MA", "A", "0.005", 0},
		{"-10 DBM", "DBM", "-10", 0},
		{"1 E 3 HZ", "HZ", "1E+3", 0},
		{"1E - 3", "S", "0.001", 0},
		{"1 EXHZ", "HZ", "1E+18", 0},
		{"#HFF", "", "255", 0},
		{"#q17", "", "15", 0},
		{"#B101", "", "5", 0},
		{"3", "", "3", 0},
		{"3 HZ", "", "", CodeSuffixNotAllowed},
		{"3 V", "HZ", "", CodeInvalidSuffix},
		{"3 MDBM", "DBM", "", CodeInvalidSuffix},
		{"3 XHZ", "HZ", "", CodeInvalidSuffix},
		{"9.91E37", "HZ", "", CodeOutOfRange},
		{"MIN", "HZ", "", CodeDataType},
		{`"3"`, "HZ", "", CodeDataType},
	}
	for _, test := range tests {
		a, err := ParseArgument(test.in)
		if err != nil {
			t.Errorf("ParseArgument(%q): %v", test.in, err)
			continue
		}
		got, err := a.In(test.unit)
		text := ""
		if err == nil {
			text = got.String()
		}
		var refused *Error
		if test.code != 0 && (!errors.As(err, &refused) || refused.Code != test.code) || text != test.want {
			t.Errorf("%q in %q is %s, %v; want %s, code %d", test.in, test.unit, text, err, test.want, test.code)
		}
	}
}

func TestParseArgument(t *testing.T) {
	tests := []struct {
		in   string
		kind ArgumentKind
		data string
		code int
	}{
		{"MINimum", Keyword, "", 0},
		{"EXT2", Keyword, "", 0},
		{` "a""b" `, StringData, `a"b`, 0},
		{"'x'", StringData, "x", 0},
		{"#13a b", BlockData, "a b", 0},
		{"#12  ", BlockData, "  ", 0},
		{"#0abc", BlockData, "abc", 0},
		{"(@1,2)", Expression, "", 0},
		{"", 0, "", CodeMissingParameter},
		{`"a`, 0, "", CodeString},
		{"#15HELL", 0, "", CodeBlock},
		{"#11ab", 0, "", CodeBlock},
		{"(1", 0, "", CodeExpression},
		{"EXT-2", 0, "", CodeInvalidKeyword},
		{"#HXY", 0, "", CodeNumber},
		{"#X1", 0, "", CodeNumber},
		{"1E1000", 0, "", CodeExponentTooLarge},
		{"1 %", 0, "", CodeInvalidSuffix},
		{"-", 0, "", CodeNumber},
		{"@", 0, "", CodeNumber},
	}
	for _, test := range tests {
		a, err := ParseArgument(test.in)
		var refused *Error
		code := 0
		if errors.As(err, &refused) {
			code = refused.Code
		}
		if a.Kind != test.kind || string(a.Data) != test.data || code != test.code || (err == nil) != (test.code == 0) {
			t.Errorf("ParseArgument(%q) is %s %q, %v; want %s %q, code %d", test.in, a.Kind, a.Data, err, test.kind, test.data, test.code)
		}
	}
	a, err := ParseArgument("max")
	if err != nil || !a.Is("MAXimum") || a.Is("MINimum") {
		t.Errorf("max is %+v, %v", a, err)
	}
}

func FuzzParseProgram(f *testing.F) {
	for _, seed := range []string{"*IDN?", "SOUR:FREQ 1 MHZ;POW? MIN", ":A 'x;',#12;;,(@1,2)", "A\xff", "A 1 E 3 HZ"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, message []byte) {
		commands, err := ParseProgram(message)
		var refused *Error
		if err != nil && !errors.As(err, &refused) {
			t.Fatalf("%q: %v is no *Error", message, err)
		}
		for _, c := range commands {
			again, err := ParseProgram([]byte(c.String()))
			if err != nil || len(again) != 1 || again[0].String() != c.String() {
				t.Fatalf("%q: %q came back as %q, %v", message, c, again, err)
			}
			for _, text := range c.Arguments {
				a, err := ParseArgument(text)
				if err != nil {
					if !errors.As(err, &refused) {
						t.Fatalf("%q: %v is no *Error", text, err)
					}
					continue
				}
				if v, err := a.In("HZ"); err == nil && len(v.Text('f')) > 4000 {
					t.Fatalf("%q takes %d bytes written out", text, len(v.Text('f')))
				}
			}
		}
	})
}

func FuzzCompilePattern(f *testing.F) {
	for _, seed := range []string{"[SOURce#:]FREQuency[:CW]", "*IDN", ":A[B]C", "]["} {
		f.Add(seed, "SOUR:FREQ")
	}
	f.Fuzz(func(t *testing.T, text, header string) {
		p, err := CompilePattern(text)
		if err != nil || len(p.nodes) > 12 || len(header) > 200 {
			return
		}
		p.Match(header)
		long := make([]string, len(p.nodes))
		for i, n := range p.nodes {
			long[i] = n.long
		}
		if _, ok := p.Match(strings.Join(long, ":")); !ok {
			t.Fatalf("%q does not match its own long form %q", text, long)
		}
	})
}
