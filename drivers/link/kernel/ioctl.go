package kernel

import (
	"runtime"
	"strings"
)

// Directions of an argument, as seen from the program (asm-generic/ioctl.h).
const (
	none  = 0
	write = 1 // the kernel reads the argument
	read  = 2 // the kernel fills it
)

// request makes the number of an ioctl: direction, size of the argument in
// bytes, driver and number within it.
func request(direction, driver, number, size uint32) uint32 {
	if oldLayout(runtime.GOARCH) { // three bits for the direction, each with its own
		return map[uint32]uint32{none: 1, read: 2, write: 4, read | write: 6}[direction]<<29 | size<<16 | driver<<8 | number
	}
	return direction<<30 | size<<16 | driver<<8 | number
}

// oldLayout tells the processors whose ioctl numbers are laid out otherwise.
func oldLayout(arch string) bool {
	return strings.HasPrefix(arch, "mips") || strings.HasPrefix(arch, "ppc64") || arch == "sparc64"
}
