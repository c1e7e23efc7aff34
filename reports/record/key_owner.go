//go:build !windows

package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// onlyOwner refuses a key that others can read, or that is another's.
func onlyOwner(file string) error {
	info, err := os.Stat(file)
	if err != nil {
		return err
	}
	if p := info.Mode().Perm(); p&0o077 != 0 {
		return fmt.Errorf("others can read it (mode %04o); \"chmod 600\" it, and make a new key if they may have (bandproof key --new)", p)
	}
	if sys, ok := info.Sys().(*syscall.Stat_t); ok && int(sys.Uid) != os.Geteuid() {
		return fmt.Errorf("belongs to another user (number %d)", sys.Uid)
	}
	return nil
}

// safePlace refuses a folder in which others could put another key in the place
// of this one, and a link that leads where others can write.
func safePlace(file string) error {
	link, err := os.Lstat(file)
	linked := err == nil && link.Mode()&fs.ModeSymlink != 0
	real := file
	if linked {
		if real, err = filepath.EvalSymlinks(file); err != nil {
			return fmt.Errorf("is a link that leads nowhere: %w", err)
		}
	}
	folder, err := os.Stat(filepath.Dir(real))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil // it is to be made
	case err != nil:
		return err
	case folder.Mode().Perm()&0o002 == 0:
		return nil
	case linked:
		return fmt.Errorf("is a link into %s, where everybody can write; keep the key in a folder of your own", filepath.Dir(real))
	case folder.Mode()&fs.ModeSticky == 0:
		return fmt.Errorf("everybody can write in %s (mode %04o) and could put another key there; \"chmod o-w\" the folder, or keep the key in one of your own", filepath.Dir(real), folder.Mode().Perm())
	}
	return nil
}
