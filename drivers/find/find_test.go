package find

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/virtual"

	"github.com/hashicorp/mdns"
	"github.com/stretchr/testify/require"
)

// nothing finds nothing by itself: each test puts in what it is about.
func nothing() Finder {
	return Finder{
		SerialPorts: func() ([]link.SerialPort, error) { return nil, nil },
		Services:    func(context.Context, string) ([]Service, error) { return nil, nil },
		Broadcast:   func(context.Context) ([]string, error) { return nil, nil },
		USB:         func() []link.USBInstrument { return nil },
		Log:         slog.New(slog.DiscardHandler),
	}
}

// served runs the built-in virtual bench and returns where its instruments are.
func served(t *testing.T) (*virtual.Bench, map[string]string) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{})
	require.NoError(t, err)
	at := map[string]string{}
	for _, i := range b.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		background(t, func(ctx context.Context) error { return b.ServeListener(ctx, i.Name, l) })
		at[i.Name] = l.Addr().String()
	}
	return b, at
}

// background runs until the test ends.
func background(t *testing.T, serve func(ctx context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- serve(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
}

func found(t *testing.T, r Result, address string) Found {
	t.Helper()
	for _, f := range r.Found {
		if f.Address == address {
			return f
		}
	}
	t.Fatalf("%s was not found; there are %+v, problems %q", address, r.Found, r.Problems)
	return Found{}
}

func address(hostPort string) string {
	host, port, _ := net.SplitHostPort(hostPort)
	return "TCPIP0::" + host + "::" + port + "::SOCKET"
}

func TestNamedHostsAreAsked(t *testing.T) {
	_, at := served(t)
	r, err := nothing().Find(t.Context(), Options{Try: []string{at["counter"], address(at["LF"]), "127.0.0.1:1"}})
	require.NoError(t, err)
	require.Empty(t, r.Problems)
	require.Len(t, r.Found, 3)
	c := found(t, r, address(at["counter"]))
	require.Equal(t, Found{Address: address(at["counter"]), How: []string{"named"}, Answer: "Invented Instruments,Demo Counter Three,DC3-0042,1.4",
		Maker: "Invented Instruments", Model: "Demo Counter Three", Serial: "DC3-0042", Version: "1.4", Role: "counter", Profile: "scpi-counter"}, c)
	require.Equal(t, "source", found(t, r, address(at["LF"])).Role)
	require.Contains(t, found(t, r, "TCPIP0::127.0.0.1::1::SOCKET").Note, "does not say who it is: open: disconnected")
}

func TestAnnouncedServicesAreAsked(t *testing.T) {
	_, at := served(t)
	_, port, _ := net.SplitHostPort(at["counter"])
	n := 0
	_, err := fmt.Sscan(port, &n)
	require.NoError(t, err)
	f := nothing()
	f.Services = func(_ context.Context, service string) ([]Service, error) {
		switch service {
		case scpiRawService:
			return []Service{{Name: "c", Host: "127.0.0.1", Port: n, TXT: map[string]string{"Model": "Announced"}}}, nil
		case lxiService:
			return []Service{{Name: "c", Host: "127.0.0.1", Port: 80}}, errors.New("on eth9: no multicast here")
		}
		return nil, nil
	}
	r, err := f.Find(t.Context(), Options{})
	require.NoError(t, err)
	require.Equal(t, []string{"multicast DNS: on eth9: no multicast here"}, r.Problems, "one place that fails keeps no other from being found")
	require.Len(t, r.Found, 1)
	require.Equal(t, []string{"multicast DNS _scpi-raw._tcp"}, r.Found[0].How)
	require.Equal(t, "Demo Counter Three", r.Found[0].Model, "what it says itself counts")
}

// Real multicast DNS on the loopback, announced by the library's server.
func TestBrowseHearsWhatIsAnnounced(t *testing.T) {
	lo := loopback(t)
	s, err := mdns.NewMDNSService("counter of the test", scpiRawService, "local.", "bandproof-test.local.", 41235, []net.IP{net.IPv4(127, 0, 0, 1)}, []string{"txtvers=1", "Model=Demo"})
	require.NoError(t, err)
	server, err := mdns.NewServer(&mdns.Config{Zone: s, Iface: lo})
	require.NoError(t, err)
	defer func() { _ = server.Shutdown() }()
	list, err := Browse(t.Context(), scpiRawService)
	require.NoError(t, err)
	for _, x := range list {
		if x.Port == 41235 {
			require.Equal(t, Service{Name: `counter\ of\ the\ test._scpi-raw._tcp.local.`, Host: "127.0.0.1", Port: 41235, TXT: map[string]string{"txtvers": "1", "Model": "Demo"}}, x)
			return
		}
	}
	t.Fatalf("the service was not heard; there are %+v", list)
}

func loopback(t *testing.T) *net.Interface {
	t.Helper()
	list, err := net.Interfaces()
	require.NoError(t, err)
	for _, i := range list {
		if i.Flags&net.FlagLoopback != 0 {
			return &i
		}
	}
	t.Fatal("there is no loopback interface")
	return nil
}

// silent is a line that takes everything and says nothing.
func silent(t *testing.T) (at string, heard func() string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	got := make(chan string, 10)
	background(t, func(ctx context.Context) error {
		stop := context.AfterFunc(ctx, func() { _ = l.Close() })
		defer stop()
		for {
			c, err := l.Accept()
			if err != nil {
				return err
			}
			line, _ := bufio.NewReader(c).ReadString('\n')
			got <- line
			_, _ = io.Copy(io.Discard, c)
			_ = c.Close()
		}
	})
	return l.Addr().String(), func() string { return <-got }
}

func TestWhatIsSilentCostsNoMoreThanTheTimeGiven(t *testing.T) {
	at, heard := silent(t)
	_, others := served(t)
	r, err := nothing().Find(t.Context(), Options{Time: 1500 * time.Millisecond, Try: []string{at, others["MW"]}})
	require.NoError(t, err)
	require.Equal(t, "*IDN?\n", heard())
	require.Contains(t, found(t, r, address(at)).Note, "timed out")
	require.Equal(t, "Demo Source High", found(t, r, address(others["MW"])).Model)
}

func TestFindEndsWithItsContext(t *testing.T) {
	at, heard := silent(t)
	ctx, cancel := context.WithCancel(t.Context())
	go func() { heard(); cancel() }()
	r, err := nothing().Find(ctx, Options{Time: time.Hour, Try: []string{at}})
	require.NoError(t, err)
	require.Contains(t, found(t, r, address(at)).Note, "cancelled")
}

func TestAnUnknownSerialPortIsNotWrittenTo(t *testing.T) {
	f := nothing()
	f.SerialPorts = func() ([]link.SerialPort, error) {
		return []link.SerialPort{{Device: "/dev/ttyUSB7", Vendor: "1234", Product: "ABCD", SerialNumber: "X1", Name: "line adapter"}}, errors.New("a port was not readable")
	}
	f.Open = func(context.Context, link.Config) (link.Link, error) {
		t.Error("the port was opened")
		return nil, errors.New("no")
	}
	r, err := f.Find(t.Context(), Options{})
	require.NoError(t, err)
	require.Equal(t, []Found{{Address: "ASRL/dev/ttyUSB7::INSTR", How: []string{"serial port"}, USB: &USB{Vendor: "1234", Product: "ABCD", SerialNumber: "X1", Name: "line adapter"},
		Note: "not asked: nobody knows what a serial port writes to; name it (--try /dev/ttyUSB7) or ask all (--ask-serial)"}}, r.Found)
	require.Equal(t, []string{"serial ports: a port was not readable"}, r.Problems)
}

func TestSerialPortsThatAreNamedOrAllAskedFor(t *testing.T) {
	b, _ := served(t)
	dir := t.TempDir()
	device := filepath.Join(dir, "tty")
	p, err := virtual.OpenPTY(device)
	if err != nil {
		t.Skipf("NOT TESTED on a serial line: %v", err)
	}
	background(t, func(ctx context.Context) error { return b.ServePort(ctx, "LF", p) })
	f := nothing()
	r, err := f.Find(t.Context(), Options{Try: []string{device}, Bauds: []int{115200}})
	require.NoError(t, err)
	x := found(t, r, "ASRL"+device+"::INSTR")
	require.Equal(t, "Demo Source Low", x.Model, x.Note)
	require.Equal(t, 115200, x.Baud)

	f.SerialPorts = func() ([]link.SerialPort, error) { return []link.SerialPort{{Device: device}}, nil }
	r, err = f.Find(t.Context(), Options{AskSerial: true})
	require.NoError(t, err)
	require.Equal(t, "DSL-0007", found(t, r, "ASRL"+device+"::INSTR").Serial)
}

// One instrument with several links is one, by its identity with serial number.
func TestOneInstrumentWithSeveralLinksIsOne(t *testing.T) {
	const who = "M,X,7,1"
	list := merge([]Found{
		{Address: "TCPIP0::192.0.2.1::5025::SOCKET", How: []string{"named"}, Answer: who, Serial: "7", Model: "X"},
		{Address: "TCPIP0::192.0.2.1::hislip0::INSTR", How: []string{"multicast DNS _hislip._tcp"}, Answer: who, Serial: "7", Model: "X"},
		{Address: "GPIB0::10::INSTR", Via: "ASRL/dev/a::INSTR", How: []string{"poll"}, Note: "n"},
		{Address: "GPIB0::2::INSTR", Via: "ASRL/dev/a::INSTR", How: []string{"poll"}, Note: "n"},
		{Address: "GPIB0::2::INSTR", Via: "ASRL/dev/a::INSTR", How: []string{"named"}, Answer: "Q,Y,,", Model: "Y"},
		{Address: "GPIB0::3::INSTR", Answer: "Q,Y,,", Model: "Y"}, // no serial number: another one
	})
	var got []string
	for _, f := range list {
		got = append(got, fmt.Sprint(f.Address, f.Also, f.How, f.Note))
	}
	require.Equal(t, []string{
		"TCPIP0::192.0.2.1::hislip0::INSTR[TCPIP0::192.0.2.1::5025::SOCKET] [multicast DNS _hislip._tcp named]",
		"GPIB0::2::INSTR[] [named poll]",
		"GPIB0::3::INSTR[] []",
		"GPIB0::10::INSTR[] [poll]n",
	}, got)
}

func TestAddressesBehindAnAdapter(t *testing.T) {
	b, _ := served(t)
	bus, err := b.Bus(map[virtual.BusAddress]string{{Primary: 3, Secondary: -1}: "counter", {Primary: 19, Secondary: -1}: "MW"})
	require.NoError(t, err)
	defer bus.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	background(t, func(ctx context.Context) error {
		return virtual.NewAdapter(bus, virtual.AdapterQuirks{}).ServeListener(ctx, l)
	})
	via := address(l.Addr().String())

	r, err := nothing().Find(t.Context(), Options{Time: time.Minute, Adapters: []string{via}})
	require.NoError(t, err)
	require.Empty(t, r.Problems)
	require.Len(t, r.Found, 2, "%+v", r.Found)
	require.Equal(t, "GPIB0::3::INSTR", r.Found[0].Address)
	require.Equal(t, via, r.Found[0].Via)
	require.Empty(t, r.Found[0].Answer)
	require.Contains(t, r.Found[0].Note, "--ask-gpib asks")

	r, err = nothing().Find(t.Context(), Options{Time: time.Minute, Adapters: []string{via}, AskGPIB: true})
	require.NoError(t, err)
	require.Equal(t, "Demo Counter Three", found(t, r, "GPIB0::3::INSTR").Model)
	require.Equal(t, "source", found(t, r, "GPIB0::19::INSTR").Role)

	r, err = nothing().Find(t.Context(), Options{Adapters: []string{"TCPIP0::127.0.0.1::1::SOCKET"}})
	require.NoError(t, err)
	require.Len(t, r.Problems, 1)
	require.Contains(t, r.Problems[0], "adapter TCPIP0::127.0.0.1::1::SOCKET: ")
}

func TestUSBInstrumentsAreAsked(t *testing.T) {
	f := nothing()
	r, err := link.ParseResource("USB0::0x1A2B::0x00FF::SN 1::INSTR")
	require.NoError(t, err)
	f.USB = func() []link.USBInstrument {
		return []link.USBInstrument{{Resource: r, Name: "Example Works (invented) Counter"}}
	}
	got, err := f.Find(t.Context(), Options{})
	require.NoError(t, err)
	require.Len(t, got.Found, 1)
	require.Equal(t, r.String(), got.Found[0].Address)
	require.Equal(t, &USB{Vendor: "1A2B", Product: "00FF", SerialNumber: "SN 1", Name: "Example Works (invented) Counter"}, got.Found[0].USB)
	require.NotEmpty(t, got.Found[0].Note, "there is none to be asked")
}

func TestWhatMayBeNamed(t *testing.T) {
	for _, row := range []struct{ text, address, host, wrong string }{
		{text: "192.0.2.7", host: "192.0.2.7"},
		{text: "192.0.2.7:5025", host: "192.0.2.7"},
		{text: "counter.example.org", host: "counter.example.org"},
		{text: "[2001:db8::1]:5025", host: "2001:db8::1"},
		{text: "2001:db8::1", host: "2001:db8::1"},
		{text: "/dev/ttyUSB0", address: "ASRL/dev/ttyUSB0::INSTR"},
		{text: "COM3", address: "ASRLCOM3::INSTR"},
		{text: "tcpip::192.0.2.7::5025::socket", address: "TCPIP0::192.0.2.7::5025::SOCKET"},
		{text: "192.0.2.7:99999", wrong: "no port between 1 and 65535"},
		{text: "192.0.2.7:x", wrong: "no port between 1 and 65535"},
		{text: "", wrong: "is no host"},
		{text: "a b", wrong: "is no host"},
		{text: "TCPIP0::x::SOCKET", wrong: "TCPIP0::x::SOCKET"},
	} {
		got, err := parseTry(row.text)
		if row.wrong != "" {
			require.ErrorContains(t, err, row.wrong, row.text)
			continue
		}
		require.NoError(t, err, row.text)
		require.Equal(t, row.address, got.address, row.text)
		require.Equal(t, row.host, got.host, row.text)
	}
}

// FuzzIdentify: whatever an instrument answers, there is no panic, and what is
// proposed is a pair of role and profile.
func FuzzIdentify(f *testing.F) {
	for _, s := range []string{"A,B,1,2", "", ",,,", "COUNTER", "\xff,\x00,0,0", "a,b,c,d,e"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, answer string) {
		var x Found
		x.identify(answer)
		x.propose()
		require.Equal(t, x.Role == "", x.Profile == "")
	})
}

// Whoever answers with more than a name can have is no instrument whose answer
// would be shown.
func TestAnEndlessIdentityIsNotTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	background(t, func(context.Context) error {
		conn, err := l.Accept()
		if err != nil {
			return err
		}
		defer conn.Close()
		if _, err := bufio.NewReader(conn).ReadString('\n'); err != nil {
			return err
		}
		_, err = io.WriteString(conn, strings.Repeat("x", 100_000)+"\n")
		return err
	})
	t.Cleanup(func() { l.Close() })
	r, err := nothing().Find(t.Context(), Options{Try: []string{l.Addr().String()}, Local: true, Time: 20 * time.Second})
	require.NoError(t, err)
	require.Len(t, r.Found, 1)
	require.Empty(t, r.Found[0].Answer)
	require.Contains(t, r.Found[0].Note, "does not say who it is")
}
