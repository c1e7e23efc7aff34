package link

import (
	"fmt"
	"net/netip"
	"strconv"
	"strings"
)

// Kind is the technology that a resource name asks for.
type Kind string

const (
	Serial Kind = "serial port"
	Socket Kind = "raw socket"
	VXI11  Kind = "VXI-11"
	HiSLIP Kind = "HiSLIP"
	USB    Kind = "USBTMC"
	USBRaw Kind = "USB raw"
	GPIB   Kind = "GPIB"
)

// formOf shows, for error messages, what a right resource name looks like.
var formOf = map[Kind]string{
	Serial: "ASRL/dev/ttyUSB0::INSTR or ASRLCOM3::INSTR",
	Socket: "TCPIP0::192.0.2.7::5025::SOCKET",
	VXI11:  "TCPIP0::192.0.2.7::inst0::INSTR",
	HiSLIP: "TCPIP0::192.0.2.7::hislip0::INSTR",
	USB:    "USB0::0x1234::0x5678::SERIAL::INSTR",
	USBRaw: "USB0::0x1234::0x5678::SERIAL::RAW",
	GPIB:   "GPIB0::7::INSTR",
}

// NoSecondary is the Secondary of a GPIB resource without one.
const NoSecondary = -1

// Resource is a VISA resource name, taken apart (VPP-4.3, from memory). Which
// fields mean something depends on Kind; the others are zero.
type Resource struct {
	Kind  Kind
	Board int // TCPIP, USB and GPIB: the interface number, 0 unless stated

	Device string // Serial: path or COM name; empty where only a number is given
	Number int    // Serial: the number of ASRL3::INSTR, if Device is empty

	Host      string // TCPIP: name in lower case, or IP address
	Port      int    // Socket, and VXI11 and HiSLIP where one is stated: 1 to 65535
	LANDevice string // VXI11, HiSLIP: inst0, gpib0,7, hislip0

	Vendor, Product uint16
	SerialNumber    string // USB
	Interface       int    // USB: 0 unless stated

	Primary   int // GPIB: 0 to 30
	Secondary int // GPIB: 0 to 30, or NoSecondary
}

// String is the canonical form: keywords in capitals, everything stated.
// ParseResource reads it back to the same Resource.
func (r Resource) String() string {
	switch r.Kind {
	case Serial:
		if r.Device == "" {
			return fmt.Sprintf("ASRL%d::INSTR", r.Number)
		}
		return "ASRL" + r.Device + "::INSTR"
	case Socket:
		return fmt.Sprintf("TCPIP%d::%s::%d::SOCKET", r.Board, bracketed(r.Host), r.Port)
	case VXI11:
		host := bracketed(r.Host)
		if r.Port != 0 {
			host += "," + strconv.Itoa(r.Port)
		}
		return fmt.Sprintf("TCPIP%d::%s::%s::INSTR", r.Board, host, r.LANDevice)
	case HiSLIP:
		device := r.LANDevice
		if r.Port != 0 {
			device += "," + strconv.Itoa(r.Port)
		}
		return fmt.Sprintf("TCPIP%d::%s::%s::INSTR", r.Board, bracketed(r.Host), device)
	case USB, USBRaw:
		class := "INSTR"
		if r.Kind == USBRaw {
			class = "RAW"
		}
		device := fmt.Sprintf("USB%d::0x%04X::0x%04X::%s", r.Board, r.Vendor, r.Product, r.SerialNumber)
		if r.Interface != 0 {
			device += "::" + strconv.Itoa(r.Interface)
		}
		return device + "::" + class
	case GPIB:
		if r.Secondary == NoSecondary {
			return fmt.Sprintf("GPIB%d::%d::INSTR", r.Board, r.Primary)
		}
		return fmt.Sprintf("GPIB%d::%d::%d::INSTR", r.Board, r.Primary, r.Secondary)
	}
	return ""
}

// bracketed puts an IPv6 address into the brackets that its colons need.
func bracketed(host string) string {
	if a, err := netip.ParseAddr(host); err == nil && a.Is6() {
		return "[" + host + "]"
	}
	return host
}

// hostPort is what net.Dial takes.
func (r Resource) hostPort() string { return bracketed(r.Host) + ":" + strconv.Itoa(r.Port) }

// upper makes ASCII capitals only, so that offsets stay what they are.
func upper(text string) string {
	return strings.Map(func(c rune) rune {
		if 'a' <= c && c <= 'z' {
			return c - 'a' + 'A'
		}
		return c
	}, text)
}
