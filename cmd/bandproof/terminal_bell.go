package main

import "io"

// ring rings the bell for an event that rings.
func (t *terminal) ring(event string) {
	if t.bells != nil && t.bells(event) {
		t.bell()
	}
}

// bell rings, where standard error is a terminal.
func (t *terminal) bell() bool {
	if t.live {
		_, _ = io.WriteString(t.err, "\a")
	}
	return t.live
}
