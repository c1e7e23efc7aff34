package oncrpc

import "fmt"

// rpcVersion is the only version there is.
const rpcVersion = 2

// The types of a message.
const (
	typeCall  = 0
	typeReply = 1
)

// mostAuth is the longest body of a credential in bytes (RFC 5531 section 8.2).
const mostAuth = 400

// Auth is a credential or a verifier. The zero value is AUTH_NONE.
type Auth struct {
	Flavor int32
	Body   []byte
}

// XDR implements [Message].
func (a *Auth) XDR(x *XDR) {
	x.Int32(&a.Flavor)
	x.Opaque(&a.Body, mostAuth)
}

// Call is a call message (RFC 5531 section 9); Args are the arguments of the
// procedure, written already.
type Call struct {
	XID                         uint32
	RPCVersion                  uint32
	Program, Version, Procedure uint32
	Credential, Verifier        Auth
	Args                        []byte
}

// XDR implements [Message].
func (c *Call) XDR(x *XDR) {
	x.Uint32(&c.XID)
	kind := int32(typeCall)
	x.Int32(&kind)
	if kind != typeCall {
		x.Fail(fmt.Errorf("%w: message type %d; expected a call (0)", ErrValue, kind))
	}
	x.Uint32(&c.RPCVersion)
	if c.RPCVersion != rpcVersion {
		return // what follows is not known; a server answers with its versions
	}
	x.Uint32(&c.Program)
	x.Uint32(&c.Version)
	x.Uint32(&c.Procedure)
	c.Credential.XDR(x)
	c.Verifier.XDR(x)
	x.Rest(&c.Args)
}

// AppendCall writes a call with its arguments, without credentials.
func AppendCall(b []byte, xid, program, version, procedure uint32, args Message) []byte {
	c := Call{XID: xid, RPCVersion: rpcVersion, Program: program, Version: version, Procedure: procedure}
	x := XDR{buf: b}
	c.XDR(&x)
	args.XDR(&x)
	return x.buf
}

// ParseCall reads a call. A call of another RPC version has that RPCVersion and
// nothing else; answer it with [RPCMismatch].
func ParseCall(b []byte) (c Call, err error) {
	x := XDR{buf: b, reading: true}
	c.XDR(&x)
	return c, x.err
}

// KnownVersion tells whether the call is of the RPC version that is spoken here.
func (c Call) KnownVersion() bool { return c.RPCVersion == rpcVersion }

// Status is what became of a call.
type Status int32

// The first six are those of RFC 5531 section 9 (accept_stat); the others tell
// that the call was denied.
const (
	Success Status = iota
	ProgramUnavailable
	ProgramMismatch
	ProcedureUnavailable
	GarbageArguments
	SystemError
	RPCMismatch Status = 100 + iota
	AuthError
)

// String says it in words.
func (s Status) String() string {
	switch s {
	case Success:
		return "success"
	case ProgramUnavailable:
		return "there is no such program at this port"
	case ProgramMismatch:
		return "the program has another version"
	case ProcedureUnavailable:
		return "the program has no such procedure"
	case GarbageArguments:
		return "the arguments were not understood"
	case SystemError:
		return "system error of the server"
	case RPCMismatch:
		return "the server speaks another RPC version"
	case AuthError:
		return "the server wants other credentials"
	}
	return fmt.Sprintf("unknown status %d", int32(s))
}

// Reply is a reply message.
type Reply struct {
	XID       uint32
	Status    Status
	Low, High uint32 // ProgramMismatch, RPCMismatch: the versions that there are
	Why       int32  // AuthError: auth_stat
	Verifier  Auth   // where the call was accepted
	Results   []byte // Success: the results of the procedure
}

// Whether a call was accepted.
const (
	accepted = 0
	denied   = 1
)

// XDR implements [Message].
func (r *Reply) XDR(x *XDR) {
	x.Uint32(&r.XID)
	kind := int32(typeReply)
	x.Int32(&kind)
	if kind != typeReply {
		x.Fail(fmt.Errorf("%w: message type %d; expected a reply (1)", ErrValue, kind))
	}
	how := int32(accepted)
	if r.Status >= RPCMismatch {
		how = denied
	}
	x.Int32(&how)
	switch how {
	case accepted:
		r.accepted(x)
	case denied:
		r.denied(x)
	default:
		x.Fail(fmt.Errorf("%w: reply status %d; expected 0 or 1", ErrValue, how))
	}
}

func (r *Reply) accepted(x *XDR) {
	r.Verifier.XDR(x)
	status := int32(r.Status)
	x.Int32(&status)
	if status < 0 || status > int32(SystemError) {
		x.Fail(fmt.Errorf("%w: accept status %d; expected 0 to 5", ErrValue, status))
		return
	}
	switch r.Status = Status(status); r.Status {
	case Success:
		x.Rest(&r.Results)
	case ProgramMismatch:
		x.Uint32(&r.Low)
		x.Uint32(&r.High)
	}
}

func (r *Reply) denied(x *XDR) {
	status := int32(r.Status - RPCMismatch)
	x.Int32(&status)
	switch status {
	case 0:
		r.Status = RPCMismatch
		x.Uint32(&r.Low)
		x.Uint32(&r.High)
	case 1:
		r.Status = AuthError
		x.Int32(&r.Why)
	default:
		x.Fail(fmt.Errorf("%w: reject status %d; expected 0 or 1", ErrValue, status))
	}
}

// ParseReply reads a reply; its Results are part of b.
func ParseReply(b []byte) (r Reply, err error) {
	err = Parse(b, &r)
	return r, err
}

// AppendReply writes the reply to a call that has succeeded.
func AppendReply(b []byte, xid uint32, results Message) []byte {
	r := Reply{XID: xid}
	x := XDR{buf: b}
	r.XDR(&x)
	results.XDR(&x)
	return x.buf
}
