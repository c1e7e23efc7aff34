package link

import (
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxResource is the longest resource name in bytes; longer is a mistake.
const maxResource = 1024

// ParseResource reads a VISA resource name. Keywords may be in either case,
// and "::INSTR" may be left out. An error is an *Error of kind ErrAddress that
// says what is wrong and shows the right form.
func ParseResource(text string) (Resource, error) {
	r, err := parseResource(strings.TrimSpace(text))
	if err != nil {
		shown := text
		if len(shown) > 80 {
			shown = shown[:80] + "…"
		}
		return Resource{}, &Error{Address: strconv.QuoteToASCII(shown), Op: "open", Kind: ErrAddress, Err: err}
	}
	return r, nil
}

func parseResource(text string) (Resource, error) {
	switch {
	case text == "":
		return Resource{}, fmt.Errorf("is empty; expected a VISA resource name such as %s or %s", formOf[Socket], formOf[Serial])
	case len(text) > maxResource:
		return Resource{}, fmt.Errorf("is longer than %d bytes", maxResource)
	case !utf8.ValidString(text) || strings.ContainsFunc(text, unicode.IsControl):
		return Resource{}, errors.New("holds control characters or bytes that are no text")
	}
	for _, other := range []struct{ keyword, what string }{
		{"GPIB-VXI", "a VXI crate behind GPIB"}, {"VXI", "a VXI crate"}, {"PXI", "a PXI crate"}, {"TCPIPS", "an encrypted connection"},
	} {
		if rest, ok := strings.CutPrefix(upper(text), other.keyword); ok && (rest == "" || strings.ContainsAny(rest[:1], "0123456789:")) {
			return Resource{}, fmt.Errorf("names %s, which this program has no link for; it has serial ports, TCP/IP, USB and GPIB", other.what)
		}
	}
	for _, class := range []string{"::INTFC", "::SERVANT"} {
		if strings.HasPrefix(upper(text), "GPIB") && strings.HasSuffix(upper(text), class) {
			return Resource{}, fmt.Errorf("ends in %s, which is the bus itself and no instrument; write %s", class, formOf[GPIB])
		}
	}
	for _, family := range []struct {
		keyword string
		parse   func(rest string) (Resource, error)
	}{
		{"ASRL", parseSerial}, {"TCPIP", parseLAN}, {"USB", parseUSB}, {"GPIB", parseGPIB},
	} {
		if strings.HasPrefix(upper(text), family.keyword) {
			return family.parse(text[len(family.keyword):])
		}
	}
	return Resource{}, fmt.Errorf("begins with none of ASRL, TCPIP, USB, GPIB; write %s, %s, %s or %s",
		formOf[Serial], formOf[Socket], formOf[USB], formOf[GPIB])
}

func parseSerial(rest string) (Resource, error) {
	fields := strings.Split(rest, "::")
	if len(fields) > 2 || len(fields) == 2 && upper(fields[1]) != "INSTR" {
		return Resource{}, fmt.Errorf("after ASRL comes one port and then ::INSTR; write %s", formOf[Serial])
	}
	r := Resource{Kind: Serial, Device: fields[0]}
	number, err := decimal(r.Device, 0, 255)
	switch {
	case r.Device == "":
		return Resource{}, fmt.Errorf("names no port after ASRL; write %s", formOf[Serial])
	case err == nil:
		r.Device, r.Number = "", number
	case strings.HasPrefix(upper(r.Device), "COM"):
		number, err := decimal(r.Device[3:], 1, 4096)
		if err != nil {
			return Resource{}, fmt.Errorf("port %q: COM is followed by %w; write %s", r.Device, err, formOf[Serial])
		}
		r.Device = "COM" + strconv.Itoa(number)
	case !strings.HasPrefix(r.Device, "/") || strings.HasSuffix(r.Device, "/") || strings.HasSuffix(r.Device, ":"):
		return Resource{}, fmt.Errorf("port %q is neither the whole path of a device nor COM with a number; write %s", r.Device, formOf[Serial])
	case strings.TrimSpace(r.Device) != r.Device:
		return Resource{}, fmt.Errorf("port %q has a space at its end", r.Device)
	}
	return r, nil
}

func parseLAN(rest string) (Resource, error) {
	board, rest, ok := strings.Cut(rest, "::")
	if !ok {
		return Resource{}, fmt.Errorf("names no host; write %s or %s", formOf[Socket], formOf[VXI11])
	}
	var r Resource
	var err error
	if r.Board, err = boardNumber("TCPIP", board); err != nil {
		return Resource{}, err
	}
	rest, port, err := cutPort(rest)
	if err != nil {
		return Resource{}, err
	}
	var fields []string
	if r.Host, fields, err = splitHost(rest); err != nil {
		return Resource{}, err
	}
	class := "INSTR"
	if n := len(fields); n > 0 && slices.Contains([]string{"INSTR", "SOCKET"}, upper(fields[n-1])) {
		class, fields = upper(fields[n-1]), fields[:n-1]
	}
	if len(fields) > 1 {
		return Resource{}, fmt.Errorf("has too much after the host; write %s or %s, and an IPv6 address in brackets", formOf[Socket], formOf[VXI11])
	}
	if class == "SOCKET" {
		if port != 0 {
			return Resource{}, fmt.Errorf("the port of a SOCKET comes after ::; write %s", formOf[Socket])
		}
		return r.withPort(fields)
	}
	r, err = r.withLANDevice(fields)
	switch {
	case err != nil:
		return Resource{}, err
	case port != 0 && r.Kind == HiSLIP:
		return Resource{}, errors.New("the port of HiSLIP comes after the device; write TCPIP0::192.0.2.7::hislip0,4880::INSTR")
	case port != 0:
		r.Port = port
	}
	return r, nil
}

// cutPort takes the port out of TCPIP0::192.0.2.7,1024::inst0::INSTR, the form
// for VXI-11 without a portmapper.
func cutPort(rest string) (without string, port int, err error) {
	address := 0
	if strings.HasPrefix(rest, "[") {
		address = max(strings.Index(rest, "]"), 0)
	}
	host, after, _ := strings.Cut(rest[address:], "::")
	name, stated, ok := strings.Cut(host, ",")
	if !ok {
		return rest, 0, nil
	}
	port, err = decimal(stated, 1, 65535)
	if err != nil || stated == "" {
		return "", 0, fmt.Errorf("port %q: expected a number from 1 to 65535; write TCPIP0::192.0.2.7,1024::inst0::INSTR", stated)
	}
	without = rest[:address] + name
	if strings.Contains(rest[address:], "::") {
		without += "::" + after
	}
	return without, port, nil
}

// splitHost takes the host off; an IPv6 address stands in brackets, because
// its colons would be taken for the separator.
func splitHost(rest string) (host string, fields []string, err error) {
	if !strings.HasPrefix(rest, "[") {
		fields = strings.Split(rest, "::")
		host, err = hostName(fields[0])
		return host, fields[1:], err
	}
	inside, after, ok := strings.Cut(rest[1:], "]")
	address, err := netip.ParseAddr(inside)
	if !ok || err != nil || !address.Is6() || strings.ContainsFunc(inside, unicode.IsSpace) {
		return "", nil, fmt.Errorf("%q is no IPv6 address in brackets; write TCPIP0::[2001:db8::7]::5025::SOCKET", "["+inside)
	}
	if after == "" {
		return address.String(), nil, nil
	}
	if after, ok = strings.CutPrefix(after, "::"); !ok {
		return "", nil, fmt.Errorf("after the bracket comes ::, not %q", after)
	}
	return address.String(), strings.Split(after, "::"), nil
}

// hostName checks a name or an IPv4 address.
func hostName(text string) (string, error) {
	if text == "" {
		return "", fmt.Errorf("names no host; write %s", formOf[Socket])
	}
	if strings.Contains(text, ":") {
		return "", fmt.Errorf("host %q holds a colon; an IPv6 address stands in brackets, and a port after ::, as in %s", text, formOf[Socket])
	}
	numeric := true
	for _, c := range text {
		switch {
		case c == '.' || '0' <= c && c <= '9':
		case c == '-' || c == '_' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z':
			numeric = false
		default:
			return "", fmt.Errorf("host %q holds %q; a host is made of letters, digits, points and hyphens", text, c)
		}
	}
	if numeric {
		if _, err := netip.ParseAddr(text); err != nil {
			return "", fmt.Errorf("host %q is no IPv4 address: four numbers from 0 to 255 with points between", text)
		}
	}
	if strings.HasPrefix(text, ".") || strings.Contains(text, "..") || len(text) > 253 {
		return "", fmt.Errorf("host %q is no host name", text)
	}
	return strings.ToLower(text), nil
}

func (r Resource) withPort(fields []string) (Resource, error) {
	if len(fields) == 0 {
		return Resource{}, fmt.Errorf("a SOCKET needs a port; write %s", formOf[Socket])
	}
	port, err := decimal(fields[0], 1, 65535)
	if err != nil {
		return Resource{}, fmt.Errorf("port %q: expected %w; write %s", fields[0], err, formOf[Socket])
	}
	r.Kind, r.Port = Socket, port
	return r, nil
}

func (r Resource) withLANDevice(fields []string) (Resource, error) {
	r.Kind, r.LANDevice = VXI11, "inst0"
	if len(fields) == 0 {
		return r, nil
	}
	name := fields[0]
	if _, err := decimal(name, 0, 65535); err == nil {
		return Resource{}, fmt.Errorf("%q looks like a port, and a port goes with SOCKET; write %s", name, formOf[Socket])
	}
	for _, c := range name {
		if c != ',' && c != '_' && c != '-' && !('0' <= c && c <= '9') && !('a' <= c && c <= 'z') && !('A' <= c && c <= 'Z') {
			return Resource{}, fmt.Errorf("LAN device %q holds %q; write %s or %s", name, c, formOf[VXI11], formOf[HiSLIP])
		}
	}
	if name == "" {
		return Resource{}, fmt.Errorf("names an empty LAN device; write %s", formOf[VXI11])
	}
	r.LANDevice = strings.ToLower(name)
	if strings.HasPrefix(r.LANDevice, "hislip") {
		return r.withHiSLIP()
	}
	return r, nil
}

// withHiSLIP takes the sub-address apart: hislip0 or hislip0,4880.
func (r Resource) withHiSLIP() (Resource, error) {
	name, port, stated := strings.Cut(r.LANDevice, ",")
	if stated {
		number, err := decimal(port, 1, 65535)
		if err != nil {
			return Resource{}, fmt.Errorf("HiSLIP port %q: expected %w; write TCPIP0::192.0.2.7::hislip0,4880::INSTR", port, err)
		}
		r.Port = number
	}
	r.Kind, r.LANDevice = HiSLIP, name
	return r, nil
}

func parseUSB(rest string) (Resource, error) {
	fields := strings.Split(rest, "::")
	r := Resource{Kind: USB}
	var err error
	if r.Board, err = boardNumber("USB", fields[0]); err != nil {
		return Resource{}, err
	}
	fields = fields[1:]
	if n := len(fields); n > 0 {
		switch upper(fields[n-1]) {
		case "RAW":
			r.Kind = USBRaw
			fallthrough
		case "INSTR":
			fields = fields[:n-1]
		}
	}
	if len(fields) != 3 && len(fields) != 4 {
		return Resource{}, fmt.Errorf("a USB instrument has maker number, model number, serial number and perhaps an interface number; write %s", formOf[USB])
	}
	for i, into := range []*uint16{&r.Vendor, &r.Product} {
		if *into, err = usbNumber(fields[i]); err != nil {
			return Resource{}, err
		}
	}
	r.SerialNumber = fields[2]
	if strings.TrimSpace(r.SerialNumber) != r.SerialNumber || r.SerialNumber == "" || strings.HasSuffix(r.SerialNumber, ":") || strings.HasPrefix(r.SerialNumber, ":") {
		return Resource{}, fmt.Errorf("serial number %q is empty or has a space or colon at its end; write %s", r.SerialNumber, formOf[USB])
	}
	if len(fields) == 4 {
		if r.Interface, err = decimal(fields[3], 0, 255); err != nil {
			return Resource{}, fmt.Errorf("interface %q: expected %w; write USB0::0x1234::0x5678::SERIAL::0::INSTR", fields[3], err)
		}
	}
	return r, nil
}

func usbNumber(text string) (uint16, error) {
	digits, base := text, 10
	if strings.HasPrefix(upper(text), "0X") {
		digits, base = text[2:], 16
	}
	n, err := strconv.ParseUint(digits, base, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is no number from 0x0000 to 0xFFFF; write %s", text, formOf[USB])
	}
	return uint16(n), nil
}

func parseGPIB(rest string) (Resource, error) {
	fields := strings.Split(rest, "::")
	r := Resource{Kind: GPIB, Secondary: NoSecondary}
	var err error
	if r.Board, err = boardNumber("GPIB", fields[0]); err != nil {
		return Resource{}, err
	}
	fields = fields[1:]
	if n := len(fields); n > 0 && upper(fields[n-1]) == "INSTR" {
		fields = fields[:n-1]
	}
	if len(fields) != 1 && len(fields) != 2 {
		return Resource{}, fmt.Errorf("a GPIB instrument has a primary and perhaps a secondary address; write %s", formOf[GPIB])
	}
	if r.Primary, err = decimal(fields[0], 0, 30); err != nil {
		return Resource{}, fmt.Errorf("primary address %q: expected %w; write %s", fields[0], err, formOf[GPIB])
	}
	if len(fields) == 2 {
		if r.Secondary, err = decimal(fields[1], 0, 30); err != nil {
			return Resource{}, fmt.Errorf("secondary address %q: expected %w; write GPIB0::7::1::INSTR", fields[1], err)
		}
	}
	return r, nil
}

func boardNumber(keyword, text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	n, err := decimal(text, 0, 255)
	if err != nil {
		return 0, fmt.Errorf("after %s comes an interface number or nothing, not %q", keyword, text)
	}
	return n, nil
}

// decimal reads digits only. Its error is what was expected, for use in a
// sentence.
func decimal(text string, least, most int) (int, error) {
	expected := fmt.Errorf("a number from %d to %d", least, most)
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, expected
		}
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		return 0, expected
	}
	return n, nil
}
