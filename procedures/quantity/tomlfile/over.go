package tomlfile

import "slices"

// Over lays the document over another one: tables are joined key by key,
// everything else of the other stands unless this one states it. Mistakes in
// what comes from the other name its file. It is called before Into.
func (d *Document) Over(base *Document) {
	if d.root == nil || base.root == nil {
		return
	}
	d.root.over(base.root, base.mistakes.File)
}

// Drop takes a key path such as "input.map" out of the document, with all that
// is below it. It returns false where there is no such key.
func (d *Document) Drop(path string) bool {
	n := d.root
	for n != nil && n.kind == table {
		var step string
		step, path = nextStep(path)
		next := n.table[step]
		if path == "" && next != nil {
			delete(n.table, step)
			n.keys = slices.DeleteFunc(n.keys, func(k string) bool { return k == step })
			return true
		}
		n = next
	}
	return false
}

// over takes what base has and n has not. file is where base stands.
func (n *node) over(base *node, file string) {
	for _, key := range base.keys {
		theirs := base.table[key]
		switch mine := n.table[key]; {
		case mine == nil:
			n.put(key, theirs.from(file))
		case mine.kind == table && theirs.kind == table:
			mine.over(theirs, file)
		}
	}
}

// from copies a node and marks it as one of another file; what that file itself
// took from a third stays marked as that one's.
func (n *node) from(file string) *node {
	out := *n
	if out.file == "" {
		out.file = file
	}
	if n.table != nil {
		out.table = map[string]*node{}
		for key, child := range n.table {
			out.table[key] = child.from(file)
		}
	}
	out.keys = slices.Clone(n.keys)
	out.items = nil
	for _, item := range n.items {
		out.items = append(out.items, item.from(file))
	}
	return &out
}
