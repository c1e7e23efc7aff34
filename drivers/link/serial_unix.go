//go:build linux || darwin

package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// portClaim is a second descriptor of the port, opened before the library's.
// It carries the lock (the library's own exclusivity does not bind root), the
// flow control that the library lacks, and the writes, which end with their
// deadline here.
type portClaim struct{ file *os.File }

// claim opens and locks the port.
func claim(name string) (*portClaim, error) {
	file, err := os.OpenFile(name, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &Error{Kind: ErrDisconnected, Err: fmt.Errorf("there is no %s; is the adapter plugged in?", name)}
	case errors.Is(err, fs.ErrPermission):
		return nil, &Error{Kind: ErrAddress, Err: fmt.Errorf("%s may not be opened by this user; is the user in the group that owns the device?", name)}
	case errors.Is(err, syscall.EBUSY):
		return nil, &Error{Kind: ErrBusy, Err: fmt.Errorf("another program has %s open", name)}
	case err != nil:
		return nil, &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; is the adapter plugged in?", err)}
	}
	c := &portClaim{file: file}
	if err := c.lock(name); err != nil {
		_ = file.Close()
		return nil, err
	}
	return c, nil
}

// lock keeps out other links, also those of other runs of this program. It is
// on the device itself, so all names of it share one lock.
func (c *portClaim) lock(name string) error {
	if info, err := c.file.Stat(); err != nil || info.Mode()&fs.ModeCharDevice == 0 {
		return &Error{Kind: ErrAddress, Err: fmt.Errorf("%s is no serial port", name)}
	}
	err := c.control(func(fd int) error { return unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB) })
	switch {
	case errors.Is(err, unix.EWOULDBLOCK):
		return &Error{Kind: ErrBusy, Err: fmt.Errorf("another link holds %s; is this program running twice?", name)}
	case errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.EINVAL):
		return nil // no locks on devices here: what the library does must do
	case err != nil:
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("lock %s: %w", name, err)}
	}
	return nil
}

// control calls f with the descriptor.
func (c *portClaim) control(f func(fd int) error) error {
	raw, err := c.file.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) { inner = f(int(fd)) }); err != nil {
		return err
	}
	return inner
}

// configure does what the library does not.
func (c *portClaim) configure(config Config) error {
	return c.control(func(fd int) error {
		closeOnExec(fd)
		return flowControl(fd, config.FlowControl)
	})
}

// closeOnExec keeps the library's descriptor, which is on the same device as
// ours, from programs that this one starts. Where that fails a child holds the
// port longer, and nothing else happens.
func closeOnExec(ours int) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	var device unix.Stat_t
	if unix.Fstat(ours, &device) != nil {
		return
	}
	open, err := filepath.Glob("/dev/fd/*")
	if err != nil {
		return
	}
	for _, path := range open {
		fd, err := strconv.Atoi(filepath.Base(path))
		var other unix.Stat_t
		if err == nil && unix.Fstat(fd, &other) == nil && other.Dev == device.Dev && other.Ino == device.Ino && other.Rdev == device.Rdev {
			unix.CloseOnExec(fd)
		}
	}
}

// send writes with a deadline; os.ErrNoDeadline: this port can't.
func (c *portClaim) send(ctx context.Context, p []byte) error { return sendWithin(ctx, c.file, p) }

// release gives the port free for others.
func (c *portClaim) release() error {
	err := c.file.Close()
	if errors.Is(err, os.ErrClosed) {
		return nil
	}
	return err
}
