//go:build !linux

package link

// thisSystem has no drivers of instruments that this program knows.
func thisSystem() System { return nil }
