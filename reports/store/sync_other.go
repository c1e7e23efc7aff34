//go:build !unix

package store

// syncFolder does nothing where folders can't be brought to disk by themselves.
func syncFolder(string) error { return nil }

// isReadOnlyFS is known on unix only; elsewhere the lack of permission tells.
func isReadOnlyFS(error) bool { return false }
