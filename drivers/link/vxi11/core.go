package vxi11

import "bandproof/drivers/link/oncrpc"

// Link identifies a link (Device_Link).
type Link int32

// XDR implements [oncrpc.Message]: the argument of DestroyLink and DeviceAbort.
func (l *Link) XDR(x *oncrpc.XDR) { x.Int32((*int32)(l)) }

// Error is the result of operations that give nothing else (Device_Error).
type Error struct{ Code Code }

// XDR implements [oncrpc.Message].
func (e *Error) XDR(x *oncrpc.XDR) { x.Int32((*int32)(&e.Code)) }

// Times are in milliseconds.

// CreateLinkParms asks for a link (Create_LinkParms).
type CreateLinkParms struct {
	Client      int32 // of no meaning to the server
	Lock        bool  // lock the device at once
	LockTimeout uint32
	Device      string // inst0, gpib0,7
}

// XDR implements [oncrpc.Message].
func (p *CreateLinkParms) XDR(x *oncrpc.XDR) {
	x.Int32(&p.Client)
	x.Bool(&p.Lock)
	x.Uint32(&p.LockTimeout)
	x.String(&p.Device, mostDevice)
}

// CreateLinkResp is the link (Create_LinkResp).
type CreateLinkResp struct {
	Error
	Link       Link
	AbortPort  uint16
	MaxReceive uint32 // bytes of data that a write may carry
}

// XDR implements [oncrpc.Message].
func (r *CreateLinkResp) XDR(x *oncrpc.XDR) {
	r.Error.XDR(x)
	r.Link.XDR(x)
	x.Uint16(&r.AbortPort)
	x.Uint32(&r.MaxReceive)
}

// WriteParms are bytes for the instrument (Device_WriteParms).
type WriteParms struct {
	Link                   Link
	IOTimeout, LockTimeout uint32
	Flags                  int32
	Data                   []byte
}

// XDR implements [oncrpc.Message].
func (p *WriteParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Uint32(&p.IOTimeout)
	x.Uint32(&p.LockTimeout)
	x.Int32(&p.Flags)
	x.Opaque(&p.Data, mostData)
}

// WriteResp tells how many bytes were taken (Device_WriteResp).
type WriteResp struct {
	Error
	Size uint32
}

// XDR implements [oncrpc.Message].
func (r *WriteResp) XDR(x *oncrpc.XDR) {
	r.Error.XDR(x)
	x.Uint32(&r.Size)
}

// ReadParms asks for bytes of the instrument (Device_ReadParms).
type ReadParms struct {
	Link                   Link
	RequestSize            uint32
	IOTimeout, LockTimeout uint32
	Flags                  int32
	TermChar               byte
}

// XDR implements [oncrpc.Message].
func (p *ReadParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Uint32(&p.RequestSize)
	x.Uint32(&p.IOTimeout)
	x.Uint32(&p.LockTimeout)
	x.Int32(&p.Flags)
	x.Char(&p.TermChar)
}

// ReadResp are bytes of the instrument (Device_ReadResp).
type ReadResp struct {
	Error
	Reason int32
	Data   []byte
}

// XDR implements [oncrpc.Message].
func (r *ReadResp) XDR(x *oncrpc.XDR) {
	r.Error.XDR(x)
	x.Int32(&r.Reason)
	x.Opaque(&r.Data, mostData)
}

// ReadSTBResp is the status byte (Device_ReadStbResp).
type ReadSTBResp struct {
	Error
	Status byte
}

// XDR implements [oncrpc.Message].
func (r *ReadSTBResp) XDR(x *oncrpc.XDR) {
	r.Error.XDR(x)
	x.Char(&r.Status)
}

// GenericParms are the arguments of DeviceReadSTB, DeviceTrigger, DeviceClear,
// DeviceRemote and DeviceLocal (Device_GenericParms).
type GenericParms struct {
	Link                   Link
	Flags                  int32
	LockTimeout, IOTimeout uint32
}

// XDR implements [oncrpc.Message].
func (p *GenericParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Int32(&p.Flags)
	x.Uint32(&p.LockTimeout)
	x.Uint32(&p.IOTimeout)
}

// LockParms asks for the lock of the device (Device_LockParms).
type LockParms struct {
	Link        Link
	Flags       int32
	LockTimeout uint32
}

// XDR implements [oncrpc.Message].
func (p *LockParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Int32(&p.Flags)
	x.Uint32(&p.LockTimeout)
}
