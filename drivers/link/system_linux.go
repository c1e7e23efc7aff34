package link

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

func thisSystem() System { return kernelSystem{} }

// kernelSystem is the System that this program runs on.
//
// Its calls are made with all signals held back: the drivers end a call early
// for a signal, and the system would then make it anew, so that a message that
// was half sent would be sent twice.
type kernelSystem struct{}

func (kernelSystem) Open(path string, alone bool) (int, error) {
	// Not os.Open, which would set the device to non-blocking.
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return -1, &os.PathError{Op: "open", Path: path, Err: err}
	}
	if alone {
		if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil && !errors.Is(err, unix.ENOTSUP) && !errors.Is(err, unix.EINVAL) {
			return -1, errors.Join(&os.PathError{Op: "lock", Path: path, Err: err}, unix.Close(fd))
		}
	}
	return fd, nil
}

func (kernelSystem) Close(fd int) error { return unix.Close(fd) }

func (kernelSystem) Read(fd int, p []byte) (n int, err error) {
	err = held(func() error { n, err = unix.Read(fd, p); return err })
	return max(n, 0), err
}

func (kernelSystem) Write(fd int, p []byte) (n int, err error) {
	err = held(func() error { n, err = unix.Write(fd, p); return err })
	return max(n, 0), err
}

func (kernelSystem) Ioctl(fd int, request uint32, argument, buffer []byte) error {
	var pin runtime.Pinner
	defer pin.Unpin()
	var at unsafe.Pointer
	if len(argument) > 0 {
		at = unsafe.Pointer(&argument[0])
		pin.Pin(&argument[0])
	}
	if buffer != nil {
		if len(argument) < 8 || len(buffer) == 0 {
			return fmt.Errorf("ioctl %#x: no room for an address, or nothing at it", request)
		}
		pin.Pin(&buffer[0])
		*(*uint64)(at) = uint64(uintptr(unsafe.Pointer(&buffer[0])))
	}
	return held(func() error {
		if _, _, number := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(at)); number != 0 {
			return number
		}
		return nil
	})
}

func (kernelSystem) ReadFile(path string) ([]byte, error) { return os.ReadFile(path) }

func (kernelSystem) List(directory string) ([]string, error) {
	entries, err := os.ReadDir(directory)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names, err
}

// held makes a call with the signals of this thread held back, but for those
// that tell of a fault of the program.
func held(call func() error) error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	var all, before unix.Sigset_t
	for i := range all.Val {
		all.Val[i] = ^all.Val[i]
	}
	for _, s := range []syscall.Signal{unix.SIGSEGV, unix.SIGBUS, unix.SIGFPE, unix.SIGILL, unix.SIGTRAP, unix.SIGABRT} {
		bit := uint(s) - 1
		size := uint(unsafe.Sizeof(all.Val[0])) * 8
		all.Val[bit/size] &^= 1 << (bit % size)
	}
	if err := unix.PthreadSigmask(unix.SIG_BLOCK, &all, &before); err != nil {
		return fmt.Errorf("hold signals back: %w", err)
	}
	err := call()
	if again := unix.PthreadSigmask(unix.SIG_SETMASK, &before, nil); again != nil {
		return errors.Join(err, fmt.Errorf("let signals through: %w", again))
	}
	return err
}
