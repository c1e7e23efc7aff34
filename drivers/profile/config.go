package profile

import (
	"slices"
	"strconv"
	"strings"

	"bandproof/drivers/link"
)

// The settings of a link that can be told by a word.
var (
	terminators  = []string{"LF", "CR", "CRLF", "none"}
	parities     = []string{"none", "odd", "even", "mark", "space"}
	stops        = []string{"1", "1.5", "2"}
	flowControls = []string{"none", "xonxoff", "rtscts"}
	onOff        = []string{"on", "off"}
)

// link checks what the profile prefers of the link.
func (c *checker) link(l *Link) {
	c.notNegative("link.pace", l.Pace)
	c.positive("link.gap", l.Gap)
	c.positive("link.quiet", l.Quiet)
	c.positive("link.timeout", l.Timeout)
	c.oneOf("link.read_terminator", l.ReadTerminator, terminators)
	c.oneOf("link.write_terminator", l.WriteTerminator, terminators)
	c.oneOf("link.parity", l.Parity, parities)
	c.oneOf("link.stop_bits", l.StopBits, stops)
	c.oneOf("link.flow_control", l.FlowControl, flowControls)
	c.oneOf("link.dtr", l.DTR, onOff)
	c.oneOf("link.rts", l.RTS, onOff)
	c.notNegative("link.character_pace", l.CharacterPace)
	c.notNegative("link.line_pace", l.LinePace)
	c.notNegative("link.clear_wait", l.ClearWait)
	if c.Has("link.baud") && (l.Baud < 50 || l.Baud > 4_000_000) {
		c.Add("link.baud", "is %d; expected 50 to 4000000", l.Baud)
	}
	if c.Has("link.data_bits") && (l.DataBits < 5 || l.DataBits > 8) {
		c.Add("link.data_bits", "is %d; expected 5 to 8", l.DataBits)
	}
}

func (c *checker) oneOf(at, got string, known []string) {
	if c.Has(at) && !slices.Contains(known, got) {
		c.Add(at, "is %s; expected %s", strconv.Quote(got), strings.Join(known, ", "))
	}
}

// Prefer fills in what the bench file leaves out of a link's settings. What
// the bench file states stands.
func (p *Profile) Prefer(c link.Config) link.Config {
	l := p.file.Link
	if l == nil {
		return c
	}
	c.ReadTerminator = stated(c.ReadTerminator, l.ReadTerminator)
	c.WriteTerminator = stated(c.WriteTerminator, l.WriteTerminator)
	c.PlainText = c.PlainText || l.PlainText
	c.Gap = stated(c.Gap, clockOr(l.Gap, 0))
	c.Quiet = stated(c.Quiet, clockOr(l.Quiet, 0))
	c.Timeout = stated(c.Timeout, clockOr(l.Timeout, 0))
	if c.Via == "" { // else the line is an adapter's
		c.Baud = stated(c.Baud, l.Baud)
		c.DataBits = stated(c.DataBits, l.DataBits)
		c.Parity = stated(c.Parity, l.Parity)
		c.StopBits = stated(c.StopBits, l.StopBits)
		c.FlowControl = stated(c.FlowControl, l.FlowControl)
		c.DTR, c.RTS = stated(c.DTR, l.DTR), stated(c.RTS, l.RTS)
		c.CharPace = stated(c.CharPace, clockOr(l.CharacterPace, 0))
	}
	c.LinePace = stated(c.LinePace, clockOr(l.LinePace, 0))
	c.Echo, c.BreakClear = c.Echo || l.Echo, c.BreakClear || l.BreakClear
	c.NoEOI = c.NoEOI || l.NoEOI
	c.EndByTerminator = c.EndByTerminator || l.EndByTerminator
	c.Common, c.NoDeviceClear = c.Common || l.CommonCommands, c.NoDeviceClear || l.NoDeviceClear
	return c
}

// stated is the first of two values unless it is left out.
func stated[T comparable](value, otherwise T) T {
	var left T
	if value == left {
		return otherwise
	}
	return value
}
