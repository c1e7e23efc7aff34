package sheet

import "strings"

func (w *textWriter) block(b block) {
	w.gap()
	switch b := b.(type) {
	case *heading:
		w.heading(b)
	case *paragraph:
		if b.Label != "" {
			w.wrapped("", b.Label)
		}
		w.wrapped("", b.Text)
	case *notice:
		w.notice(b)
	case *notes:
		if b.Title != "" {
			w.wrapped("", b.Title)
		}
		for _, l := range b.Lines {
			w.wrapped("- ", l)
		}
	case *grid:
		w.grid(b)
	case *table:
		w.table(b)
	case *chart:
		w.chart(b)
	case *graph:
		w.graph(b)
	case *signatures:
		w.signatures(b)
	}
}

func (w *textWriter) heading(h *heading) {
	if h.Level > 1 {
		w.underlined(h.Text, "-")
		return
	}
	w.line("")
	w.underlined(h.Text, "=")
}

// notice has a frame, of heavy signs where it is an alert.
func (w *textWriter) notice(n *notice) {
	edge, side := "+"+strings.Repeat("-", w.columns-2)+"+", "| "
	if n.Alert {
		edge, side = strings.Repeat("#", w.columns), "# "
	}
	w.line(edge)
	for k, x := range append([]string{n.Title}, n.Lines...) {
		for _, l := range w.wrap(x, w.columns-2*len(side)) {
			w.line(side + padded(l, w.columns-2*len(side), false) + " " + side[:1])
		}
		if k == 0 && len(n.Lines) > 0 {
			w.line(side + strings.Repeat(" ", w.columns-2*len(side)) + " " + side[:1])
		}
	}
	w.line(edge)
}

// grid sets keys beside their values, long ones above.
func (w *textWriter) grid(g *grid) {
	keys, most := 0, w.columns*35/100
	for _, x := range g.Items {
		if n := columnsOf(x.Key); n <= most {
			keys = max(keys, n)
		}
	}
	for _, x := range g.Items {
		first := padded(x.Key, keys+2, false)
		if columnsOf(x.Key) > keys {
			w.wrapped("", x.Key)
			first = strings.Repeat(" ", keys+2)
		}
		w.wrapped(first, x.Value)
	}
}

// nth is the line k, or nothing.
func nth(lines []string, k int) string {
	if k < len(lines) {
		return lines[k]
	}
	return ""
}

// signatures have a line each with room to write.
func (w *textWriter) signatures(s *signatures) {
	for _, x := range s.Lines {
		w.line("")
		w.wrapped("", x.Key+prefixed(": ", x.Value))
		sign := w.doc.say("date, signature")
		w.line("")
		w.wrapped("", sign+" "+strings.Repeat("_", max(w.columns/2-columnsOf(sign), 10)))
	}
}
