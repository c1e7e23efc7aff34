package link

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"
)

// The forms are those of VPP-4.3, from memory; device paths after ASRL are
// common practice on systems without port numbers, no source.
func TestParseResource(t *testing.T) {
	tests := []struct {
		in, canonical string
		want          Resource
	}{
		{"TCPIP0::192.0.2.7::5025::SOCKET", "TCPIP0::192.0.2.7::5025::SOCKET", Resource{Kind: Socket, Host: "192.0.2.7", Port: 5025}},
		{" tcpip::Counter.Example::5025::socket ", "TCPIP0::counter.example::5025::SOCKET", Resource{Kind: Socket, Host: "counter.example", Port: 5025}},
		{"TCPIP2::[2001:DB8::7]::5025::SOCKET", "TCPIP2::[2001:db8::7]::5025::SOCKET", Resource{Kind: Socket, Board: 2, Host: "2001:db8::7", Port: 5025}},
		{"TCPIP::[fe80::1%eth0]::1::SOCKET", "TCPIP0::[fe80::1%eth0]::1::SOCKET", Resource{Kind: Socket, Host: "fe80::1%eth0", Port: 1}},
		{"TCPIP::192.0.2.7", "TCPIP0::192.0.2.7::inst0::INSTR", Resource{Kind: VXI11, Host: "192.0.2.7", LANDevice: "inst0"}},
		{"TCPIP::192.0.2.7::INSTR", "TCPIP0::192.0.2.7::inst0::INSTR", Resource{Kind: VXI11, Host: "192.0.2.7", LANDevice: "inst0"}},
		{"TCPIP::192.0.2.7::GPIB0,7::INSTR", "TCPIP0::192.0.2.7::gpib0,7::INSTR", Resource{Kind: VXI11, Host: "192.0.2.7", LANDevice: "gpib0,7"}},
		{"TCPIP::192.0.2.7,1024::GPIB0,7::INSTR", "TCPIP0::192.0.2.7,1024::gpib0,7::INSTR", Resource{Kind: VXI11, Host: "192.0.2.7", Port: 1024, LANDevice: "gpib0,7"}},
		{"TCPIP::[::1],1024", "TCPIP0::[::1],1024::inst0::INSTR", Resource{Kind: VXI11, Host: "::1", Port: 1024, LANDevice: "inst0"}},
		{"TCPIP::[::1]", "TCPIP0::[::1]::inst0::INSTR", Resource{Kind: VXI11, Host: "::1", LANDevice: "inst0"}},
		{"TCPIP::h::hislip0", "TCPIP0::h::hislip0::INSTR", Resource{Kind: HiSLIP, Host: "h", LANDevice: "hislip0"}},
		{"TCPIP::h::HiSLIP0,4881::INSTR", "TCPIP0::h::hislip0,4881::INSTR", Resource{Kind: HiSLIP, Host: "h", LANDevice: "hislip0", Port: 4881}},
		{"ASRL/dev/ttyUSB0::INSTR", "ASRL/dev/ttyUSB0::INSTR", Resource{Kind: Serial, Device: "/dev/ttyUSB0"}},
		{"asrl/dev/ttyUSB0", "ASRL/dev/ttyUSB0::INSTR", Resource{Kind: Serial, Device: "/dev/ttyUSB0"}},
		{"ASRL/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0::INSTR", "ASRL/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0::INSTR",
			Resource{Kind: Serial, Device: "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0"}},
		{"ASRLcom13::INSTR", "ASRLCOM13::INSTR", Resource{Kind: Serial, Device: "COM13"}},
		{"ASRL3::INSTR", "ASRL3::INSTR", Resource{Kind: Serial, Number: 3}},
		{"USB0::0x1234::0x5678::A-1::INSTR", "USB0::0x1234::0x5678::A-1::INSTR", Resource{Kind: USB, Vendor: 0x1234, Product: 0x5678, SerialNumber: "A-1"}},
		{"usb::4660::0xABCD::ß::1", "USB0::0x1234::0xABCD::ß::1::INSTR", Resource{Kind: USB, Vendor: 0x1234, Product: 0xABCD, SerialNumber: "ß", Interface: 1}},
		{"USB1::1::2::3::RAW", "USB1::0x0001::0x0002::3::RAW", Resource{Kind: USBRaw, Board: 1, Vendor: 1, Product: 2, SerialNumber: "3"}},
		{"GPIB::7", "GPIB0::7::INSTR", Resource{Kind: GPIB, Primary: 7, Secondary: NoSecondary}},
		{"gpib1::0::0::instr", "GPIB1::0::0::INSTR", Resource{Kind: GPIB, Board: 1}},
	}
	for _, test := range tests {
		got, err := ParseResource(test.in)
		if err != nil || got != test.want {
			t.Errorf("ParseResource(%q)\n got %+v, %v\nwant %+v", test.in, got, err, test.want)
			continue
		}
		if text := got.String(); text != test.canonical {
			t.Errorf("ParseResource(%q).String() is %q, want %q", test.in, text, test.canonical)
		}
		if again, err := ParseResource(test.canonical); err != nil || again != got {
			t.Errorf("ParseResource(%q) is %+v, %v; want %+v again", test.canonical, again, err, got)
		}
	}
}

func TestParseResourceSaysWhatIsWrong(t *testing.T) {
	tests := []struct{ in, says string }{
		{"", "is empty"},
		{"192.0.2.7:5025", "begins with none of"},
		{"/dev/ttyUSB0", "begins with none of"},
		{"TCPIP0", "names no host"},
		{"TCPIP0::::5025::SOCKET", "names no host"},
		{"TCPIPx::h::5025::SOCKET", "interface number"},
		{"TCPIP0::h::SOCKET", "needs a port"},
		{"TCPIP0::h::0::SOCKET", "number from 1 to 65535"},
		{"TCPIP0::h::65536::SOCKET", "number from 1 to 65535"},
		{"TCPIP0::h::5025", "goes with SOCKET"},
		{"TCPIP0::h::5025::INSTR", "goes with SOCKET"},
		{"TCPIP0::h:5025::SOCKET", "after ::"},
		{"TCPIP0::2001:db8::7::5025::SOCKET", "in brackets"},
		{"TCPIP0::[192.0.2.7]::5025::SOCKET", "no IPv6 address"},
		{"TCPIP0::[::1::5025::SOCKET", "no IPv6 address"},
		{"TCPIP0::[::1]5025::SOCKET", "after the bracket"},
		{"TCPIP0::192.0.2.300::5025::SOCKET", "no IPv4 address"},
		{"TCPIP0::a b::5025::SOCKET", "holds ' '"},
		{"TCPIP0::a..b::5025::SOCKET", "no host name"},
		{"TCPIP0::h::hislip0,x::INSTR", "HiSLIP port"},
		{"TCPIP0::h,4880::hislip0::INSTR", "comes after the device"},
		{"TCPIP0::h,x::inst0::INSTR", "number from 1 to 65535"},
		{"TCPIP0::h,::inst0::INSTR", "number from 1 to 65535"},
		{"TCPIP0::h,1::5025::SOCKET", "comes after ::"},
		{"TCPIP0::h::inst 0::INSTR", "holds ' '"},
		{"TCPIP0::h::::INSTR", "empty LAN device"},
		{"ASRL::INSTR", "names no port"},
		{"ASRLttyUSB0::INSTR", "whole path"},
		{"ASRLCOM::INSTR", "COM is followed by"},
		{"ASRL/dev/x::5025::SOCKET", "one port and then ::INSTR"},
		{"ASRL999::INSTR", "whole path"},
		{"USB0::0x1234::0x5678::INSTR", "serial number"},
		{"USB0::0x12345::0x5678::A::INSTR", "0x0000 to 0xFFFF"},
		{"USB0::1::2::::INSTR", "serial number"},
		{"USB0::1::2::A::x::INSTR", "interface"},
		{"GPIB0::31::INSTR", "number from 0 to 30"},
		{"GPIB0::1::2::3::INSTR", "primary"},
		{"GPIB0::INTFC", "the bus itself"},
		{"GPIB-VXI0::9::INSTR", "a VXI crate behind GPIB"},
		{"PXI0::3-18::INSTR", "a PXI crate"},
		{"VXI0::1::INSTR", "a VXI crate"},
		{"TCPIPS0::h::hislip0::INSTR", "an encrypted connection"},
		{"TCPIP0::h\n::5025::SOCKET", "control characters"},
		{"ASRL/dev/\xff::INSTR", "no text"},
		{"ASRL/" + strings.Repeat("x", 2000), "longer than"},
	}
	for _, test := range tests {
		_, err := ParseResource(test.in)
		if !errors.Is(err, ErrAddress) || !strings.Contains(err.Error(), test.says) {
			t.Errorf("ParseResource(%.80q): %v; want a bad address that says %q", test.in, err, test.says)
		}
		if err != nil && (strings.Contains(err.Error(), "\n") || !utf8.ValidString(err.Error())) {
			t.Errorf("ParseResource(%.80q): message %q holds bytes that spoil a log", test.in, err)
		}
	}
}

func FuzzParseResource(f *testing.F) {
	for _, seed := range []string{"TCPIP0::192.0.2.7::5025::SOCKET", "TCPIP::[fe80::1%x]::hislip0,1", "ASRL/dev/a:b::INSTR", "ASRL3", "ASRLCOM1",
		"USB::1::2::x::3::RAW", "GPIB::7::1"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseResource(text)
		if err != nil {
			if !errors.Is(err, ErrAddress) {
				t.Fatalf("ParseResource(%q): %v is no ErrAddress", text, err)
			}
			return
		}
		again, err := ParseResource(r.String())
		if err != nil || again != r {
			t.Fatalf("ParseResource(%q) is %+v, whose form %q reads back as %+v, %v", text, r, r, again, err)
		}
	})
}
