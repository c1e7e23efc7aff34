//go:build unix

package virtual

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"bandproof/drivers"
)

// PTY is a pseudo-terminal whose slave end a client opens like a serial port,
// by a symbolic link that stays the same. The bench keeps a slave end open
// itself, so that clients may come and go.
type PTY struct {
	master *os.File
	slave  *os.File
	link   string
	once   sync.Once
	err    error
}

// OpenPTY makes a pseudo-terminal in raw mode and links it at linkPath, which
// must not exist, or be a symbolic link.
func OpenPTY(linkPath string) (*PTY, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	p := &PTY{slave: slave, link: linkPath}
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		return nil, errors.Join(fmt.Errorf("pseudo-terminal %s: raw mode: %w", slave.Name(), err), master.Close(), slave.Close())
	}
	// A descriptor of our own, non-blocking, so that Close ends a Read.
	if p.master, err = pollable(master); err != nil {
		return nil, errors.Join(err, slave.Close())
	}
	if err := relink(slave.Name(), linkPath); err != nil {
		return nil, errors.Join(err, p.master.Close(), slave.Close())
	}
	return p, nil
}

func pollable(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("pseudo-terminal: %w", err), f.Close())
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(fmt.Errorf("pseudo-terminal: %w", err), syscall.Close(fd), f.Close())
	}
	return os.NewFile(uintptr(fd), f.Name()), f.Close()
}

// relink makes the link as a whole: it never points nowhere.
func relink(target, linkPath string) error {
	if info, err := os.Lstat(linkPath); err == nil && info.Mode()&os.ModeSymlink == 0 {
		return fmt.Errorf("link %s: there is a file that is no symbolic link; choose another path", linkPath)
	}
	temporary := filepath.Join(filepath.Dir(linkPath), fmt.Sprintf(".%s.%d", filepath.Base(linkPath), os.Getpid()))
	if err := os.Symlink(target, temporary); err != nil {
		return fmt.Errorf("link %s: %w", linkPath, err)
	}
	if err := os.Rename(temporary, linkPath); err != nil {
		return errors.Join(fmt.Errorf("link %s: %w", linkPath, err), os.Remove(temporary))
	}
	return nil
}

// Path is the slave's device file; Link the symbolic link to it.
func (p *PTY) Path() string { return p.slave.Name() }

// Link is the symbolic link that stays the same.
func (p *PTY) Link() string { return p.link }

// Reached tells whether the link leads to this terminal.
func (p *PTY) Reached() bool {
	there, err := os.Stat(p.link)
	here, bad := p.slave.Stat()
	return err == nil && bad == nil && os.SameFile(there, here)
}

// eioPause is how long the master waits when no slave end is open. That should
// not happen while the bench holds its own.
const eioPause = 20 * time.Millisecond

// Read reads what the client has sent.
func (p *PTY) Read(data []byte) (int, error) {
	for range 50 {
		n, err := p.master.Read(data)
		if n > 0 || !errors.Is(err, syscall.EIO) {
			return n, err
		}
		pause(eioPause)
	}
	return 0, syscall.EIO
}

// Write sends to the client. It blocks while the line's buffer is full, until
// Close.
func (p *PTY) Write(data []byte) (int, error) { return p.master.Write(data) }

const (
	// drainTime is how long Close lets a client read what was sent last.
	drainTime = 500 * time.Millisecond
	// emptyTime is how long the line must look empty: the kernel hands on what
	// was written a little later.
	emptyTime = 50 * time.Millisecond
)

// Close hangs up, once the client has read what was sent or some time has
// passed, and removes the link if it is still ours.
func (p *PTY) Close() error {
	p.once.Do(func() {
		p.drain()
		var unlink error
		if target, err := os.Readlink(p.link); err == nil && target == p.slave.Name() {
			unlink = os.Remove(p.link)
		}
		p.err = errors.Join(unlink, p.master.Close(), p.slave.Close())
	})
	return p.err
}

// pause is a short wait for the kernel, in the time of the machine.
func pause(d time.Duration) { _ = drivers.WallClock{}.Sleep(context.Background(), d) }

// drain waits until the slave's input is empty: the kernel drops at hang-up
// what was not read. It is device time, in which the bench has no part.
func (p *PTY) drain() {
	begin := time.Now()
	for empty := begin; time.Since(begin) < drainTime && time.Since(empty) < emptyTime; pause(5 * time.Millisecond) {
		n, err := unread(p.slave)
		if err != nil {
			return
		}
		if n > 0 {
			empty = time.Now()
		}
	}
}

// ServePTY serves an instrument on a pseudo-terminal linked at linkPath until
// the context ends.
func (b *Bench) ServePTY(ctx context.Context, instrument, linkPath string) error {
	p, err := OpenPTY(linkPath)
	if err != nil {
		return fmt.Errorf("virtual %s: %w", instrument, err)
	}
	return b.ServePort(ctx, instrument, p)
}

var _ io.ReadWriteCloser = (*PTY)(nil)
