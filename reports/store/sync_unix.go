//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// syncFolder brings the names in a folder to disk.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// isReadOnlyFS tells whether a write failed because nobody may write to the file system.
func isReadOnlyFS(err error) bool { return errors.Is(err, syscall.EROFS) }
