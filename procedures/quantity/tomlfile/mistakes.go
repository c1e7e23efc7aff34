package tomlfile

import (
	"fmt"
	"sort"
	"strings"
)

// Mistake is one thing that is wrong in a file.
type Mistake struct {
	File string `json:"file,omitempty"` // where it stands in another file than that of the whole, on which this one builds
	Line int    `json:"line"`           // 1 is the first; 0 where the file as a whole is meant
	Key  string `json:"key"`            // as a person would say it: input "B".range
	Text string `json:"text"`           // what is wrong and what would be right
}

// Mistakes is the error that lists all mistakes of one file.
type Mistakes struct {
	File string    `json:"file"`
	List []Mistake `json:"mistakes"`
}

// Error writes one mistake a line, as "file:line: key: text".
func (m *Mistakes) Error() string {
	lines := make([]string, len(m.List))
	for i, x := range m.List {
		where := m.File
		if x.File != "" {
			where = x.File
		}
		if x.Line > 0 {
			where = fmt.Sprintf("%s:%d", where, x.Line)
		}
		if x.Key != "" {
			where += ": " + x.Key
		}
		lines[i] = where + ": " + x.Text
	}
	return strings.Join(lines, "\n")
}

func (m *Mistakes) add(file string, line int, key, text string) {
	m.List = append(m.List, Mistake{file, line, key, text})
}

func (m *Mistakes) sorted() *Mistakes {
	sort.SliceStable(m.List, func(i, j int) bool {
		a, b := m.List[i], m.List[j]
		return a.File < b.File || a.File == b.File && a.Line < b.Line
	})
	return m
}
