package oncrpc

// The portmapper, version 2 (RFC 1833 section 3).
const (
	PortmapPort    = 111
	PortmapProgram = 100000
	PortmapVersion = 2

	PortmapNull    = 0
	PortmapSet     = 1
	PortmapUnset   = 2
	PortmapGetPort = 3
	PortmapDump    = 4
)

// The protocols of a mapping.
const (
	TCP = 6
	UDP = 17
)

// Mapping tells at which port a program is found; in a question Port is 0.
type Mapping struct {
	Program, Version, Protocol, Port uint32
}

// XDR implements [Message].
func (m *Mapping) XDR(x *XDR) {
	x.Uint32(&m.Program)
	x.Uint32(&m.Version)
	x.Uint32(&m.Protocol)
	x.Uint32(&m.Port)
}

// Port is the answer to a question for a port: 0 where the program is not
// registered. It is no more than 65535.
type Port uint16

// XDR implements [Message].
func (p *Port) XDR(x *XDR) {
	v := uint16(*p)
	x.Uint16(&v)
	*p = Port(v)
}

// Done is the answer of a portmapper that was told something.
type Done bool

// XDR implements [Message].
func (d *Done) XDR(x *XDR) {
	v := bool(*d)
	x.Bool(&v)
	*d = Done(v)
}

// mostMappings bounds a list that is received.
const mostMappings = 10_000

// Mappings is all that a portmapper knows: a list in which a 1 stands before
// each entry and a 0 at the end (RFC 4506 section 4.19).
type Mappings []Mapping

// XDR implements [Message].
func (l *Mappings) XDR(x *XDR) {
	if x.Reading() {
		*l = nil
		for {
			var more bool
			x.Bool(&more)
			if !more || x.err != nil {
				return
			}
			var m Mapping
			m.XDR(x)
			if x.err != nil {
				return
			}
			if len(*l) == mostMappings {
				x.Fail(ErrLong)
				return
			}
			*l = append(*l, m)
		}
	}
	more, end := true, false
	for _, m := range *l {
		x.Bool(&more)
		m.XDR(x)
	}
	x.Bool(&end)
}
