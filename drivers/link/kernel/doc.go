// Package kernel is what links on character devices say to the Linux kernel:
// the numbers of the ioctl requests and the layout of their arguments, for the
// driver of USB test and measurement instruments (/dev/usbtmcN) and for that
// of linux-gpib (/dev/gpibN). It makes no system calls and builds everywhere,
// so that a model of the drivers can stand behind the links in tests.
//
// Sources: include/uapi/linux/usb/tmc.h of Linux 6, and
// drivers/staging/gpib/uapi/gpib_ioctl.h and gpib_user.h of Linux 6.13, which
// linux-gpib 4.3 shares. Tests compare the first with the header that is
// installed, and the layout of both with a C compiler.
package kernel
