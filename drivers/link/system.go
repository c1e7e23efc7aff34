package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"syscall"
	"time"
)

// System is what links on character devices need of the operating system. A
// test puts a model of a driver in its place.
type System interface {
	// Open opens a device for reading and writing; alone: nobody else may have
	// it, of this program or another.
	Open(path string, alone bool) (fd int, err error)
	Close(fd int) error
	Read(fd int, p []byte) (int, error)
	Write(fd int, p []byte) (int, error)
	// Ioctl makes a request. Where buffer is not nil its address goes into the
	// first eight bytes of the argument.
	Ioctl(fd int, request uint32, argument, buffer []byte) error
	// ReadFile and List look into a file and a directory of sysfs.
	ReadFile(path string) ([]byte, error)
	List(directory string) ([]string, error)
}

// system is the one that the links of this opener use.
func (o Opener) system(what string) (System, error) {
	if o.System != nil {
		return o.System, nil
	}
	if s := thisSystem(); s != nil {
		return s, nil
	}
	return nil, &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("%s needs a driver of the Linux kernel, and this system is %s", what, runtime.GOOS)}
}

// device is an open character device whose calls may take long and can't be
// ended: each runs in a goroutine, which the next one and close wait for.
type device struct {
	System
	path string
	fd   int
	busy chan struct{} // whoever has put a token in makes calls, and uses what follows
	shut bool
	// within: a read that was given up has taken part of a message.
	within bool
}

// whole refuses to read the rest of a message for a message.
func (d *device) whole() error {
	if d.within {
		return &Error{Kind: ErrProtocol, Err: errors.New("an earlier read was given up within a message, whose rest may come; clear the link first")}
	}
	return nil
}

func openDevice(s System, path string, alone bool) (*device, error) {
	fd, err := s.Open(path, alone)
	if err != nil {
		return nil, err
	}
	return &device{System: s, path: path, fd: fd, busy: make(chan struct{}, 1)}, nil
}

// do makes calls, all from one thread of the system, and waits for them until
// the context ends. What they would have given is lost then.
func (d *device) do(ctx context.Context, calls func() error) error {
	select {
	case d.busy <- struct{}{}:
	case <-ctx.Done():
		return fmt.Errorf("an earlier call of %s has not ended: %w", d.path, ctx.Err())
	}
	result := make(chan error, 1)
	go func() {
		defer func() { <-d.busy }()
		runtime.LockOSThread() // linux-gpib knows by its thread who has the board
		defer runtime.UnlockOSThread()
		result <- calls()
	}()
	select {
	case err := <-result:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// giveUp closes a device that could not be set up. A call that does not end,
// such as the wait for a board that another program has, closes it when it ends.
func (d *device) giveUp() error {
	result := make(chan error, 1)
	go func() { result <- d.close() }()
	limit := time.NewTimer(grace)
	defer limit.Stop()
	select {
	case err := <-result:
		return err
	case <-limit.C:
		return nil
	}
}

// close waits for what is under way. Its caller does not wait for ever.
func (d *device) close() error {
	d.busy <- struct{}{}
	defer func() { <-d.busy }()
	if d.shut {
		return nil
	}
	d.shut = true
	return d.System.Close(d.fd)
}

// ask makes a request that fills its argument.
func (d *device) ask(request uint32, argument []byte) error {
	return d.Ioctl(d.fd, request, argument, nil)
}

// until is the time to a context's deadline, within bounds.
func until(ctx context.Context, least, most time.Duration) time.Duration {
	deadline, ok := ctx.Deadline()
	if !ok {
		return most
	}
	return min(max(time.Until(deadline), least), most)
}

// unknownRequest tells whether a driver does not know a request. That of USB
// instruments says EBADRQC, which is not in every system's list.
func unknownRequest(err error) bool {
	var number syscall.Errno
	return errors.As(err, &number) && (number == syscall.ENOTTY || runtime.GOOS == "linux" && number == 56)
}

// refusedDevice says what to check about a device that can't be opened.
func refusedDevice(path string, err error, missing string) error {
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV):
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; %s", err, missing)}
	case errors.Is(err, fs.ErrPermission):
		return &Error{Kind: ErrAddress, Err: fmt.Errorf("%s may not be opened by this user (%w); let a udev rule give it to the user's group", path, err)}
	case errors.Is(err, syscall.EBUSY), errors.Is(err, syscall.EAGAIN):
		return &Error{Kind: ErrBusy, Err: fmt.Errorf("another link or program has %s: %w", path, err)}
	}
	return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("open %s: %w", path, err)}
}
