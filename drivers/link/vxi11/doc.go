// Package vxi11 is the wire format of VXI-11 (TCP/IP Instrument Protocol,
// VXI-11 revision 1.0, from memory, against the published interface definition): the numbers of its three programs
// and the arguments and results of their procedures, for [oncrpc].
//
// It opens nothing. drivers/link has the client, drivers/virtual/vxiserver the
// server.
package vxi11

import "bandproof/drivers/link/oncrpc"

// The programs and their only version. All numbers are those of the interface
// definition that tests compile: testdata/vxi11.x.
const (
	Core      = 0x0607AF // 395183: the core channel
	Async     = 0x0607B0 // 395184: the abort channel
	Interrupt = 0x0607B1 // 395185: the interrupt channel, to the client
	Version   = 1
)

// Procedures of the core channel.
const (
	CreateLink              = 10
	DeviceWrite             = 11
	DeviceRead              = 12
	DeviceReadSTB           = 13
	DeviceTrigger           = 14
	DeviceClear             = 15
	DeviceRemote            = 16
	DeviceLocal             = 17
	DeviceLock              = 18
	DeviceUnlock            = 19
	DeviceEnableSRQ         = 20
	DeviceDoCmd             = 22
	DestroyLink             = 23
	CreateInterruptChannel  = 25
	DestroyInterruptChannel = 26
)

// The only procedures of the abort and the interrupt channel.
const (
	DeviceAbort  = 1
	InterruptSRQ = 30
)

// Flags of an operation.
const (
	WaitLock     = 0x01 // wait for the lock of another link
	End          = 0x08 // the last byte written carries END
	TermCharSet  = 0x80 // a read ends with the termination character
	MostHandle   = 40   // bytes of the handle of a service request
	LeastReceive = 1024 // the least that a server may take in one write
	DeviceTCP    = 0    // address family of an interrupt channel
	DeviceUDP    = 1
	mostDevice   = 1024 // bytes of a device's name; a bound of ours
	mostData     = 64 << 20
)

// Reasons why a read has ended, any of them together.
const (
	RequestCount = 1 // as many bytes as were asked for
	Character    = 2 // the termination character
	EndIndicator = 4 // END
)

var _ oncrpc.Message = (*Error)(nil)
