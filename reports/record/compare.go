package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// Difference is one value that two JSON texts do not share.
type Difference struct {
	Path    string // JSON pointer
	Was, Is string // as JSON; "" where it is not there
}

// Differences compares two JSON texts value by value, in the order of their
// members; numbers count as equal where they are the same number.
func Differences(was, is []byte) ([]Difference, error) {
	a, err := anyJSON(was)
	if err != nil {
		return nil, err
	}
	b, err := anyJSON(is)
	if err != nil {
		return nil, err
	}
	var list []Difference
	differ("", a, b, &list)
	return list, nil
}

// gone stands for a member that is not there.
type gone struct{}

func anyJSON(text []byte) (v any, err error) {
	canon, err := recanonical(text)
	if err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(canon))
	d.UseNumber()
	return v, d.Decode(&v)
}

func differ(path string, a, b any, list *[]Difference) {
	switch x := a.(type) {
	case map[string]any:
		y, ok := b.(map[string]any)
		if !ok {
			break
		}
		names := slices.Sorted(maps.Keys(x))
		for name := range y {
			if _, both := x[name]; !both {
				names = append(names, name)
			}
		}
		slices.Sort(names)
		for _, name := range names {
			differ(path+"/"+escapePointer(name), member(x, name), member(y, name), list)
		}
		return
	case []any:
		y, ok := b.([]any)
		if !ok {
			break
		}
		for k := range max(len(x), len(y)) {
			differ(fmt.Sprintf("%s/%d", path, k), element(x, k), element(y, k), list)
		}
		return
	}
	if !reflect.DeepEqual(a, b) {
		*list = append(*list, Difference{path, shown(a), shown(b)})
	}
}

func member(m map[string]any, name string) any {
	if v, ok := m[name]; ok {
		return v
	}
	return gone{}
}

func element(list []any, k int) any {
	if k < len(list) {
		return list[k]
	}
	return gone{}
}

// escapePointer writes a member's name for a JSON pointer (RFC 6901, section 3).
func escapePointer(name string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
}

// shown is a value as JSON; "" where there is none.
func shown(v any) string {
	if _, no := v.(gone); no {
		return ""
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return fmt.Sprint(v)
	}
	return strings.TrimSuffix(b.String(), "\n")
}
