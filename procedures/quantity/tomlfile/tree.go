package tomlfile

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

type kind int

const (
	table kind = iota
	array
	text
	boolean
	integer
	float
	date
)

var kindNames = map[kind]string{table: "a table", array: "a list", text: "a text", boolean: "true or false",
	integer: "a whole number", float: "a number", date: "a date"}

// node is a TOML value with the line on which its key stands.
type node struct {
	kind  kind
	line  int
	file  string   // of a node that another document gave; else ""
	keys  []string // of a table, in the order of the file
	table map[string]*node
	items []*node // of an array
	text  string  // of a scalar: the string's value, else the raw text
}

func newTable(line int) *node { return &node{kind: table, line: line, table: map[string]*node{}} }

func (n *node) put(key string, v *node) {
	if _, ok := n.table[key]; !ok {
		n.keys = append(n.keys, key)
	}
	n.table[key] = v
}

// parse builds the tree. Syntax, double keys and the like are judged by the
// library's decoder first, so that the tree can be built without doubts.
func parse(data []byte) (*node, int, error) {
	var all map[string]any
	if err := toml.Unmarshal(data, &all); err != nil {
		var d *toml.DecodeError
		if errors.As(err, &d) {
			line, _ := d.Position()
			return nil, line, errors.New(strings.TrimPrefix(d.Error(), "toml: "))
		}
		return nil, 0, err
	}
	root := newTable(1)
	here := root
	p := newReader(data)
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			here = openTable(p, root, e)
		case unstable.KeyValue:
			putKeyValue(p, here, e)
		}
	}
	if err := p.Error(); err != nil {
		return nil, 0, fmt.Errorf("cannot be read as TOML: %w", err)
	}
	return root, 0, nil
}

// reader is a parser that knows where lines begin: to count them anew for each
// key takes long in a long file.
type reader struct {
	unstable.Parser
	ends []uint32 // of lines: offsets of their newlines
}

func newReader(data []byte) *reader {
	p := &reader{}
	p.Reset(data)
	for k, b := range data {
		if b == '\n' {
			p.ends = append(p.ends, uint32(k))
		}
	}
	return p
}

func lineOf(p *reader, n *unstable.Node, otherwise int) int {
	if n.Raw.Length == 0 {
		return otherwise
	}
	before, _ := slices.BinarySearch(p.ends, n.Raw.Offset)
	return before + 1
}

// openTable walks to the table that a [header] or [[header]] opens.
func openTable(p *reader, root *node, e *unstable.Node) *node {
	here := root
	it := e.Key()
	for it.Next() {
		k := it.Node()
		name, line := string(k.Data), lineOf(p, k, here.line)
		next := here.table[name]
		switch {
		case it.IsLast() && e.Kind == unstable.ArrayTable:
			if next == nil {
				next = &node{kind: array, line: line}
				here.put(name, next)
			}
			t := newTable(line)
			next.items = append(next.items, t)
			return t
		case next == nil:
			next = newTable(line)
			here.put(name, next)
		case next.kind == array && len(next.items) > 0:
			next = next.items[len(next.items)-1]
		}
		here = next
	}
	return here
}

func putKeyValue(p *reader, here *node, e *unstable.Node) {
	it := e.Key()
	for it.Next() {
		k := it.Node()
		name, line := string(k.Data), lineOf(p, k, here.line)
		if it.IsLast() {
			here.put(name, value(p, e.Value(), line))
			return
		}
		next := here.table[name]
		if next == nil {
			next = newTable(line)
			here.put(name, next)
		}
		here = next
	}
}

func value(p *reader, v *unstable.Node, line int) *node {
	switch v.Kind {
	case unstable.Array:
		n := &node{kind: array, line: line}
		for it := v.Children(); it.Next(); {
			c := it.Node()
			n.items = append(n.items, value(p, c, lineOf(p, c, line)))
		}
		return n
	case unstable.InlineTable:
		n := newTable(line)
		for it := v.Children(); it.Next(); {
			putKeyValue(p, n, it.Node())
		}
		return n
	}
	return &node{kind: scalarKind(v.Kind), line: line, text: string(v.Data)}
}

func scalarKind(k unstable.Kind) kind {
	switch k {
	case unstable.Bool:
		return boolean
	case unstable.Integer:
		return integer
	case unstable.Float:
		return float
	case unstable.String:
		return text
	}
	return date
}
