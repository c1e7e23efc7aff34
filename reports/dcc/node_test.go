package dcc

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// node is an element as any reader of XML sees it: it knows nothing of the types
// that wrote it. Names carry the usual prefix of their namespace.
type node struct {
	name     string
	attrs    map[string]string
	children []*node
	text     string
}

var prefixes = map[string]string{namespaceDCC: "dcc:", namespaceSI: "si:"}

// parse reads a file, which must be well formed, have one root, and use no
// namespace but the two.
func parse(text []byte) (*node, error) {
	d := xml.NewDecoder(bytes.NewReader(text))
	var open []*node
	var root *node
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			if root == nil || len(open) > 0 {
				return nil, errors.New("no root, or a root that does not end")
			}
			return root, nil
		}
		if err != nil {
			return nil, err
		}
		switch x := token.(type) {
		case xml.StartElement:
			prefix, known := prefixes[x.Name.Space]
			if !known {
				return nil, errors.New("element of an unknown namespace: " + x.Name.Space + " " + x.Name.Local)
			}
			n := &node{name: prefix + x.Name.Local, attrs: map[string]string{}}
			for _, a := range x.Attr {
				n.attrs[a.Name.Local] = a.Value
			}
			switch {
			case len(open) > 0:
				up := open[len(open)-1]
				up.children = append(up.children, n)
			case root != nil:
				return nil, errors.New("two roots")
			default:
				root = n
			}
			open = append(open, n)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text += string(x)
			}
		}
	}
}

func parsed(t testing.TB, text []byte) *node {
	t.Helper()
	n, err := parse(text)
	require.NoError(t, err)
	return n
}

// all gives every element on a path of names below n, in order.
func (n *node) all(path ...string) []*node {
	if len(path) == 0 {
		return []*node{n}
	}
	var list []*node
	for _, c := range n.children {
		if c.name == path[0] {
			list = append(list, c.all(path[1:]...)...)
		}
	}
	return list
}

// one gives the only element on a path, nil where there is none.
func (n *node) one(t testing.TB, path ...string) *node {
	t.Helper()
	list := n.all(path...)
	if len(list) == 0 {
		return nil
	}
	require.Len(t, list, 1, "%v below %s", path, n.name)
	return list[0]
}

// says is the text of the only element on a path; "" where there is none.
func (n *node) says(t testing.TB, path ...string) string {
	t.Helper()
	if x := n.one(t, path...); x != nil {
		return x.text
	}
	return ""
}

// walk visits n and all below.
func (n *node) walk(visit func(*node)) {
	visit(n)
	for _, c := range n.children {
		c.walk(visit)
	}
}

// quantityOf gives the only quantity of a reference type in a list, or nil.
func (n *node) quantityOf(t testing.TB, ref string) *node {
	t.Helper()
	var found *node
	for _, q := range n.all("dcc:quantity") {
		if strings.Contains(" "+q.attrs["refType"]+" ", " "+ref+" ") {
			require.Nil(t, found, "two quantities %s", ref)
			found = q
		}
	}
	return found
}
