package kernel

import "encoding/binary"

const usbtmc = 91 // USBTMC_IOC_NR

// Requests of /dev/usbtmcN. In comments: what the argument is.
var (
	TMCClear          = request(none, usbtmc, 2, 0)
	TMCAbortBulkOut   = request(none, usbtmc, 3, 0)
	TMCAbortBulkIn    = request(none, usbtmc, 4, 0)
	TMCClearOutHalt   = request(none, usbtmc, 6, 0)
	TMCClearInHalt    = request(none, usbtmc, 7, 0)
	TMCGetTimeout     = request(read, usbtmc, 9, 4)   // milliseconds
	TMCSetTimeout     = request(write, usbtmc, 10, 4) // milliseconds, 100 at least
	TMCEOMEnable      = request(write, usbtmc, 11, 1) // 1: a write ends a message
	TMCConfigTermChar = request(write, usbtmc, 12, 2) // the character, then 1 to use it
	TMCAPIVersion     = request(read, usbtmc, 16, 4)
	TMCGetCaps        = request(read, usbtmc, 17, 1) // usbtmc.Capabilities.Driver
	TMCReadSTB        = request(read, usbtmc, 18, 1) // status byte
	TMCRENControl     = request(write, usbtmc, 19, 1)
	TMCGotoLocal      = request(none, usbtmc, 20, 0)
	TMCLocalLockout   = request(none, usbtmc, 21, 0)
	TMCTrigger        = request(none, usbtmc, 22, 0)
	TMCMsgInAttr      = request(read, usbtmc, 24, 1)  // attributes of the last transfer in; 1: end of message
	TMCAutoAbort      = request(write, usbtmc, 25, 1) // 1: what fails is aborted by the driver
)

// TMCLeastTimeout is the least time for a transfer that the driver takes, in
// milliseconds: USBTMC_MIN_TIMEOUT of drivers/usb/class/usbtmc.c.
const TMCLeastTimeout = 100

// Uint32 is an argument of one number.
func Uint32(n uint32) []byte { return binary.NativeEndian.AppendUint32(nil, n) }
