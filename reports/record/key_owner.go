//go:build !windows

package record

import (
	"fmt"
	"os"
)

// onlyOwner refuses a key that others can read.
func onlyOwner(file string) error {
	info, err := os.Stat(file)
	if err != nil {
		return err
	}
	if p := info.Mode().Perm(); p&0o077 != 0 {
		return fmt.Errorf("others can read it (mode %04o); chmod 600 first, and make a new key if they may have", p)
	}
	return nil
}
