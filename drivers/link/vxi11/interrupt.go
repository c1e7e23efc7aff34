package vxi11

import "bandproof/drivers/link/oncrpc"

// RemoteFunc tells where the client takes interrupts (Device_RemoteFunc).
type RemoteFunc struct {
	Host             uint32 // IPv4 address, first byte highest
	Port             uint32
	Program, Version uint32
	Family           int32 // DeviceTCP or DeviceUDP
}

// XDR implements [oncrpc.Message].
func (f *RemoteFunc) XDR(x *oncrpc.XDR) {
	x.Uint32(&f.Host)
	x.Uint32(&f.Port)
	x.Uint32(&f.Program)
	x.Uint32(&f.Version)
	x.Int32(&f.Family)
}

// EnableSRQParms switches requests for service on or off
// (Device_EnableSrqParms); Handle comes back with each of them.
type EnableSRQParms struct {
	Link   Link
	Enable bool
	Handle []byte
}

// XDR implements [oncrpc.Message].
func (p *EnableSRQParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Bool(&p.Enable)
	x.Opaque(&p.Handle, MostHandle)
}

// SRQParms is a request for service (Device_SrqParms).
type SRQParms struct{ Handle []byte }

// XDR implements [oncrpc.Message].
func (p *SRQParms) XDR(x *oncrpc.XDR) { x.Opaque(&p.Handle, mostData) }

// DoCmdParms is a command to a gateway (Device_DocmdParms).
type DoCmdParms struct {
	Link                   Link
	Flags                  int32
	IOTimeout, LockTimeout uint32
	Command                int32
	NetworkOrder           bool
	DataSize               int32
	Data                   []byte
}

// XDR implements [oncrpc.Message].
func (p *DoCmdParms) XDR(x *oncrpc.XDR) {
	p.Link.XDR(x)
	x.Int32(&p.Flags)
	x.Uint32(&p.IOTimeout)
	x.Uint32(&p.LockTimeout)
	x.Int32(&p.Command)
	x.Bool(&p.NetworkOrder)
	x.Int32(&p.DataSize)
	x.Opaque(&p.Data, mostData)
}

// DoCmdResp is what a gateway answers (Device_DocmdResp).
type DoCmdResp struct {
	Error
	Data []byte
}

// XDR implements [oncrpc.Message].
func (r *DoCmdResp) XDR(x *oncrpc.XDR) {
	r.Error.XDR(x)
	x.Opaque(&r.Data, mostData)
}
