//go:build unix

package store

import (
	"errors"
	"os"
)

// syncFolder brings the names in a folder to disk.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
