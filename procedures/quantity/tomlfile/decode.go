package tomlfile

import (
	"encoding"
	"fmt"
	"reflect"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Document is a file as read, with the places of its keys.
type Document struct {
	root     *node
	mistakes Mistakes
	wrong    []string // paths that have a mistake
}

// Positional marks a struct that may be written as a list of its fields in
// order: ["100 MHz", "0.4 dB"]; optional fields at the end may be left out.
type Positional interface{ TOMLList() }

// Open marks a struct whose table has further keys, which another reader takes
// by At.
type Open interface{ TOMLOpen() }

// Decode reads TOML text into the struct that into points to. Fields are named
// by their toml tag; a field whose tag has no ",omitempty" must be present.
// Scalars are read by encoding.TextUnmarshaler where the field has it. The
// result holds what could be read even when there are mistakes; see Err.
func Decode(file string, data []byte, into any) *Document {
	d := Read(file, data)
	d.Into(into)
	return d
}

// Read reads TOML text whose keys are looked at later, by Into; before that it
// may be laid over another document. See Err for broken syntax.
func Read(file string, data []byte) *Document {
	d := &Document{mistakes: Mistakes{File: file}}
	root, line, err := parse(data)
	if err != nil {
		d.mistakes.add("", line, "", err.Error())
		return d
	}
	d.root = root
	return d
}

// Into reads the document into the struct that into points to, as Decode does.
func (d *Document) Into(into any) {
	if d.root != nil {
		d.value(d.root, reflect.ValueOf(into).Elem(), "")
	}
}

// At reads the table at a key path into the struct that into points to, as Decode
// does. Keys that the caller names were read already.
func (d *Document) At(path string, into any, read ...string) {
	n, rest := d.walk(path)
	if n == nil || rest != "" || n.kind != table {
		return
	}
	d.fields(n, reflect.ValueOf(into).Elem(), path, read)
}

// Add notes a mistake at a key path such as "input[0].range" (from 0).
func (d *Document) Add(path, format string, args ...any) {
	file, line, name := d.place(path)
	d.wrong = append(d.wrong, path)
	d.mistakes.add(file, line, name, fmt.Sprintf(format, args...))
}

// Text returns the text at a key path, "" where there is none.
func (d *Document) Text(path string) string {
	n, rest := d.walk(path)
	if n == nil || rest != "" {
		return ""
	}
	return n.text
}

// Only replaces everything found so far by one mistake that explains it all.
func (d *Document) Only(path, format string, args ...any) {
	d.mistakes.List, d.wrong = nil, nil
	d.Add(path, format, args...)
}

// Has tells whether the file has the key.
func (d *Document) Has(path string) bool {
	n, rest := d.walk(path)
	return n != nil && rest == ""
}

// longestText bounds a text in a file, in characters.
const longestText = 1000

// PlainText adds a mistake for each text that holds control characters or marks
// that change the direction of writing, which could make a prompt or a data
// sheet say something else than the file, or that is far too long.
func (d *Document) PlainText() {
	if d.root != nil {
		d.plain(d.root, "")
	}
}

func (d *Document) plain(n *node, path string) {
	for _, key := range n.keys {
		d.plain(n.table[key], join(path, key))
	}
	for i, item := range n.items {
		d.plain(item, fmt.Sprintf("%s[%d]", path, i))
	}
	if n.kind == text {
		if what := NotPlain(n.text); what != "" {
			d.Add(path, "%s", what)
		}
	}
}

// NotPlain says why a text is not plain, "" where it is.
func NotPlain(s string) string {
	if n := utf8.RuneCountInString(s); n > longestText {
		return fmt.Sprintf("has %d characters; expected at most %d", n, longestText)
	}
	for _, r := range s {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == utf8.RuneError {
			return fmt.Sprintf("holds the control character %U; expected plain text", r)
		}
	}
	return ""
}

// Sound tells whether the file has the key and nothing was found wrong with it
// or below it, so that one slip is not complained of twice.
func (d *Document) Sound(path string) bool {
	for _, w := range d.wrong {
		if w == path || strings.HasPrefix(w, path+".") || strings.HasPrefix(w, path+"[") {
			return false
		}
	}
	return d.Has(path)
}

// Err returns nil or a *Mistakes with all that was found, by line.
func (d *Document) Err() error {
	if len(d.mistakes.List) == 0 {
		return nil
	}
	return d.mistakes.sorted()
}

// walk follows a path as far as the file has it; rest is what it lacks.
func (d *Document) walk(path string) (n *node, rest string) {
	n = d.root
	if n == nil {
		return nil, path
	}
	for path != "" && n != nil {
		var step string
		step, path = nextStep(path)
		var next *node
		if i, err := strconv.Atoi(step); err == nil && n.kind == array {
			if i < len(n.items) {
				next = n.items[i]
			}
		} else if n.kind == table {
			next = n.table[step]
		}
		if next == nil {
			return n, step
		}
		n = next
	}
	return n, ""
}

// nextStep cuts "input[0].range" into "input", "0", "range".
func nextStep(path string) (step, rest string) {
	path = strings.TrimLeft(path, ".[")
	end := strings.IndexAny(path, ".[]")
	if end < 0 {
		return path, ""
	}
	return path[:end], strings.TrimLeft(path[end:], "].")
}

// Where tells in which file and line a key path stands, and the path as a
// person would say it. A path that is not there stands where its table does.
func (d *Document) Where(path string) (file string, line int, words string) {
	file, line, words = d.place(path)
	if file == "" {
		file = d.mistakes.File
	}
	return file, line, words
}

// place returns file ("" where it is this one) and line of a path, and the path
// in words, where an element of a list of tables is called by its name, if it
// has one.
func (d *Document) place(path string) (file string, line int, words string) {
	n := d.root
	if n == nil {
		return "", 0, path
	}
	line = 0
	for path != "" {
		var step string
		step, path = nextStep(path)
		var next *node
		if i, err := strconv.Atoi(step); err == nil && n != nil && n.kind == array {
			if i < len(n.items) {
				next = n.items[i]
			}
			words += elementName(next, i)
		} else {
			if n != nil && n.kind == table {
				next = n.table[step]
			}
			words = strings.TrimPrefix(words+"."+step, ".")
		}
		if next != nil {
			file, line = next.file, next.line
		}
		n = next
	}
	return file, line, words
}

func elementName(n *node, i int) string {
	if n != nil && n.kind == table {
		if name := n.table["name"]; name != nil && name.kind == text && name.text != "" {
			return fmt.Sprintf(" %q", name.text)
		}
	}
	return fmt.Sprintf("[%d]", i+1)
}

func (d *Document) value(n *node, v reflect.Value, path string) {
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	if u, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		d.unmarshalText(n, u, path)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.structure(n, v, path)
	case reflect.Slice:
		d.list(n, v, path)
	case reflect.Array:
		d.fixed(n, v, path)
	case reflect.Map:
		d.mapping(n, v, path)
	default:
		d.scalar(n, v, path)
	}
}

func (d *Document) unmarshalText(n *node, u encoding.TextUnmarshaler, path string) {
	if n.kind == table || n.kind == array {
		d.Add(path, "is %s; expected a text with a unit in quotes", kindNames[n.kind])
		return
	}
	if err := u.UnmarshalText([]byte(n.text)); err != nil {
		d.Add(path, "%s", strings.TrimPrefix(err.Error(), "not a quantity: "))
	}
}

func (d *Document) scalar(n *node, v reflect.Value, path string) {
	wrong := func(want string) { d.Add(path, "is %s; expected %s", kindNames[n.kind], want) }
	switch v.Kind() {
	case reflect.String:
		if n.kind != text && n.kind != date {
			wrong("a text in quotes")
			return
		}
		v.SetString(n.text)
	case reflect.Bool:
		if n.kind != boolean {
			wrong("true or false")
			return
		}
		v.SetBool(n.text == "true")
	case reflect.Int:
		i, err := strconv.ParseInt(strings.ReplaceAll(n.text, "_", ""), 0, 64)
		if n.kind != integer || err != nil {
			wrong("a whole number")
			return
		}
		v.SetInt(i)
	case reflect.Float64:
		f, err := strconv.ParseFloat(strings.ReplaceAll(n.text, "_", ""), 64)
		if n.kind != integer && n.kind != float || err != nil {
			wrong("a number")
			return
		}
		v.SetFloat(f)
	default:
		d.Add(path, "cannot be read into %s (a fault of the program)", v.Type())
	}
}

func (d *Document) structure(n *node, v reflect.Value, path string) {
	if _, ok := v.Addr().Interface().(Positional); ok && n.kind == array {
		d.positional(n, v, path)
		return
	}
	if n.kind != table {
		d.Add(path, "is %s; expected a table", kindNames[n.kind])
		return
	}
	if _, ok := v.Addr().Interface().(Open); ok {
		d.fields(n, v, path, n.keys)
		return
	}
	d.fields(n, v, path, nil)
}

// fields reads the keys of a table; others than these and those that are read
// elsewhere are mistakes.
func (d *Document) fields(n *node, v reflect.Value, path string, elsewhere []string) {
	known := map[string]bool{}
	for _, key := range elsewhere {
		known[key] = true
	}
	for _, f := range fieldsOf(v.Type()) {
		known[f.key] = true
		child := n.table[f.key]
		at := join(path, f.key)
		switch {
		case child != nil:
			d.value(child, v.FieldByIndex(f.index), at)
		case f.required:
			file, line, words := d.place(path)
			d.mistakes.add(file, max(line, 1), strings.TrimPrefix(words+"."+f.key, "."), "is missing; it must be given")
		}
	}
	for _, key := range n.keys {
		if !known[key] {
			d.Add(join(path, key), "is not a key here; %s", suggest(key, known))
		}
	}
}

func (d *Document) positional(n *node, v reflect.Value, path string) {
	fields := fieldsOf(v.Type())
	least := required(fields)
	if len(n.items) < least || len(n.items) > len(fields) {
		expected := fmt.Sprint(least)
		if least < len(fields) {
			expected = fmt.Sprintf("%d to %d", least, len(fields))
		}
		d.Add(path, "has %d entries; expected %s (%s)", len(n.items), expected, keysOf(fields))
		return
	}
	for i, item := range n.items {
		d.value(item, v.FieldByIndex(fields[i].index), fmt.Sprintf("%s[%d]", path, i))
	}
}

func (d *Document) list(n *node, v reflect.Value, path string) {
	if n.kind != array {
		d.Add(path, "is %s; expected a list", kindNames[n.kind])
		return
	}
	out := reflect.MakeSlice(v.Type(), len(n.items), len(n.items))
	for i, item := range n.items {
		d.value(item, out.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
	v.Set(out)
}

func (d *Document) fixed(n *node, v reflect.Value, path string) {
	if n.kind != array || len(n.items) != v.Len() {
		d.Add(path, "is not a list of %d; expected such as [lowest, highest]", v.Len())
		return
	}
	for i, item := range n.items {
		d.value(item, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
}

func (d *Document) mapping(n *node, v reflect.Value, path string) {
	if n.kind != table {
		d.Add(path, "is %s; expected a table", kindNames[n.kind])
		return
	}
	out := reflect.MakeMap(v.Type())
	for _, key := range n.keys {
		item := reflect.New(v.Type().Elem()).Elem()
		d.value(n.table[key], item, join(path, key))
		out.SetMapIndex(reflect.ValueOf(key), item)
	}
	v.Set(out)
}

type field struct {
	key      string
	index    []int
	required bool
}

// fieldsOf lists the tagged fields, those of embedded structs among them.
func fieldsOf(t reflect.Type) []field {
	var list []field
	for i := range t.NumField() {
		f := t.Field(i)
		tag := f.Tag.Get("toml")
		if f.Anonymous && tag == "" && f.Type.Kind() == reflect.Struct {
			for _, inner := range fieldsOf(f.Type) {
				inner.index = append([]int{i}, inner.index...)
				list = append(list, inner)
			}
			continue
		}
		if tag == "" || tag == "-" {
			continue
		}
		key, options, _ := strings.Cut(tag, ",")
		list = append(list, field{key, []int{i}, !strings.Contains(options, "omitempty")})
	}
	return list
}

// required counts the fields at the beginning that must be given.
func required(fields []field) int {
	for i, f := range fields {
		if !f.required {
			return i
		}
	}
	return len(fields)
}

func keysOf(fields []field) string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return strings.Join(keys, ", ")
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// suggest names the known key that is nearest to a wrong one, else all of them.
func suggest(key string, known map[string]bool) string {
	keys := make([]string, 0, len(known))
	for k := range known {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	best, least := "", 3
	for _, k := range keys {
		if n := distance(key, k); n < least {
			best, least = k, n
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "known keys are " + strings.Join(keys, ", ")
}

// distance is the Levenshtein distance of two keys.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		previous := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			old := row[j]
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(row[j]+1, row[j-1]+1, previous+cost)
			previous = old
		}
	}
	return row[len(b)]
}
