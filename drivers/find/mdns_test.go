package find

import (
	"fmt"
	"net"
	"testing"

	"github.com/miekg/dns"
	"github.com/stretchr/testify/require"
)

// answer packs records as a response.
func answer(t *testing.T, records ...string) []byte {
	t.Helper()
	m := new(dns.Msg)
	m.Response = true
	for _, text := range records {
		rr, err := dns.NewRR(text)
		require.NoError(t, err)
		m.Answer = append(m.Answer, rr)
	}
	packet, err := m.Pack()
	require.NoError(t, err)
	return packet
}

// Several instruments of one host, in packets of any order; what was not sent
// along is asked for.
func TestServicesArePutTogetherFromTheirRecords(t *testing.T) {
	r := &records{service: "_scpi-raw._tcp.local."}
	questions := func() (list []string) {
		for _, q := range r.missing() {
			list = append(list, q.Name+" "+dns.TypeToString[q.Qtype])
		}
		return list
	}
	r.add([]byte("nonsense"))
	require.Equal(t, []string{"_scpi-raw._tcp.local. PTR"}, questions())
	r.add(answer(t, "_SCPI-RAW._tcp.local. PTR a._scpi-raw._tcp.local.", "_scpi-raw._tcp.local. PTR b._scpi-raw._tcp.local.", "_http._tcp.local. PTR c._http._tcp.local."))
	require.Equal(t, []string{"_scpi-raw._tcp.local. PTR", "a._scpi-raw._tcp.local. SRV", "b._scpi-raw._tcp.local. SRV"}, questions())
	require.Empty(t, r.services())
	r.add(answer(t, "a._scpi-raw._tcp.local. SRV 0 0 5025 host.local.", `a._scpi-raw._tcp.local. TXT "Model=A" "x"`, "b._scpi-raw._tcp.local. SRV 0 0 5026 Host.local."))
	require.Equal(t, []string{"_scpi-raw._tcp.local. PTR", "host.local. A", "b._scpi-raw._tcp.local. TXT", "Host.local. A"}, questions())
	require.Equal(t, "host.local", r.services()[0].Host, "a name is better than nothing")
	r.add(answer(t, "host.local. AAAA fe80::1", "host.local. AAAA 2001:db8::1"))
	require.Equal(t, "2001:db8::1", r.services()[0].Host)
	r.add(answer(t, "HOST.local. A 192.0.2.7", `b._scpi-raw._tcp.local. TXT "Model=B"`))
	require.Equal(t, []string{"_scpi-raw._tcp.local. PTR"}, questions())
	require.Equal(t, []Service{
		{Name: "a._scpi-raw._tcp.local.", Host: "192.0.2.7", Port: 5025, TXT: map[string]string{"Model": "A", "x": ""}},
		{Name: "b._scpi-raw._tcp.local.", Host: "192.0.2.7", Port: 5026, TXT: map[string]string{"Model": "B"}},
	}, r.services())
}

func TestAddressesThatNeedAZoneAreNoHosts(t *testing.T) {
	require.Empty(t, preferred([]net.IP{net.ParseIP("fe80::1")}))
}

// FuzzRecords: whatever a network sends, there is no panic, and what comes of
// it has a port.
func FuzzRecords(f *testing.F) {
	m := new(dns.Msg)
	m.Response = true
	for _, text := range []string{"_scpi-raw._tcp.local. PTR a._scpi-raw._tcp.local.", "a._scpi-raw._tcp.local. SRV 0 0 5025 host.local.", `a._scpi-raw._tcp.local. TXT "Model=A"`, "host.local. A 192.0.2.7"} {
		rr, err := dns.NewRR(text)
		if err != nil {
			f.Fatal(err)
		}
		m.Answer = append(m.Answer, rr)
	}
	packet, err := m.Pack()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(packet)
	f.Fuzz(func(t *testing.T, packet []byte) {
		r := &records{service: "_scpi-raw._tcp.local."}
		r.add(packet)
		for _, s := range r.services() {
			if s.Port < 1 || s.Port > 65535 || s.Host == "" && s.Name == "" {
				t.Fatalf("%+v", s)
			}
		}
		_ = r.missing()
	})
}

// Whoever answers without end does not fill the memory of this program.
func TestEndlessAnswersAreBounded(t *testing.T) {
	r := &records{service: "_scpi-raw._tcp.local."}
	for k := range 2000 {
		name := fmt.Sprintf("n%d._scpi-raw._tcp.local.", k)
		r.add(answer(t, "_scpi-raw._tcp.local. PTR "+name, name+" SRV 0 0 5025 "+name, name+` TXT "a=b"`, name+" A 192.0.2.7",
			fmt.Sprintf("one.local. A 192.0.%d.%d", k/256, k%256)))
	}
	require.LessOrEqual(t, len(r.instances), mostInstances)
	require.LessOrEqual(t, len(r.srv), mostInstances)
	require.LessOrEqual(t, len(r.txt), mostInstances)
	require.LessOrEqual(t, len(r.hosts), mostInstances)
	require.LessOrEqual(t, len(r.hosts["one.local."]), mostAddresses)
}
