//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/link"
)

// browse looks for services of the given types until so many of one host have
// been seen, and prints what they say of themselves.
const browse = `
import json, sys, threading
from zeroconf import Zeroconf, ServiceBrowser, IPVersion
host, want = sys.argv[1], int(sys.argv[2])
found, all_there = [], threading.Event()
class Listener:
    def add_service(self, zc, kind, name):
        i = zc.get_service_info(kind, name, 10000)
        if i and i.server == host:
            found.append({"name": name, "port": i.port, "addresses": i.parsed_addresses(),
                          "txt": {k.decode(): v.decode() for k, v in i.properties.items()}})
            if len(found) >= want:
                all_there.set()
    def update_service(self, *a): pass
    def remove_service(self, *a): pass
zc = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
ServiceBrowser(zc, ["_hislip._tcp.local.", "_lxi._tcp.local.", "_scpi-raw._tcp.local."], Listener())
all_there.wait(30)
zc.close()
json.dump(found, sys.stdout)
`

// python-zeroconf, which others wrote, finds what the bench announces, with the
// TXT keys that LXI asks for (LXI Device Specification, from memory).
func TestAnnouncedServicesAreFound(t *testing.T) {
	needPeer(t, "python3-zeroconf", python, "-c", "import zeroconf")
	places := served(t, "--tcp", "counter=127.0.0.1:0", "--hislip", "LF=127.0.0.1:0", "--hislip", "MW=127.0.0.1:0", "--announce")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, python, "-c", browse, announcedHost(), "6")
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	require.NoError(t, err, complaints.String())
	var found []struct {
		Name      string
		Port      int
		Addresses []string
		TXT       map[string]string
	}
	require.NoError(t, json.Unmarshal(out, &found), "%s", out)
	kinds := map[string]map[string]bool{} // types of service by instrument
	for _, s := range found {
		label, kind, _ := strings.Cut(s.Name, "._")
		_, instrument, _ := strings.Cut(strings.TrimSuffix(label, ")"), "(")
		if kinds[instrument] == nil {
			kinds[instrument] = map[string]bool{}
		}
		kinds[instrument]["_"+kind] = true
		r, err := link.ParseResource(places[instrument])
		require.NoError(t, err, s.Name)
		require.Equal(t, r.Port, s.Port, s.Name)
		require.Equal(t, []string{"127.0.0.1"}, s.Addresses)
		require.Equal(t, "1", s.TXT["txtvers"])
		require.Equal(t, r.LANDevice, s.TXT["device"])

		l, err := link.Opener{}.Open(ctx, link.Config{Address: places[instrument]})
		require.NoError(t, err)
		identity, err := l.Query(ctx, []byte("*IDN?"))
		require.NoError(t, err)
		require.NoError(t, l.Close())
		require.Equal(t, string(identity), strings.Join([]string{s.TXT["Manufacturer"], s.TXT["Model"], s.TXT["SerialNumber"], s.TXT["FirmwareVersion"]}, ","))
	}
	require.Equal(t, map[string]map[string]bool{
		"counter": {"_scpi-raw._tcp.local.": true, "_lxi._tcp.local.": true},
		"LF":      {"_hislip._tcp.local.": true, "_lxi._tcp.local.": true},
		"MW":      {"_hislip._tcp.local.": true, "_lxi._tcp.local.": true},
	}, kinds)
}

func TestAnnounceNeedsAnInterfaceThatReaches(t *testing.T) {
	for _, args := range [][]string{
		{"--tcp", "counter=127.0.0.1:0", "--announce=none7"},
		{"--pty", "counter=" + t.TempDir() + "/c", "--announce"},
	} {
		var out, complaints bytes.Buffer
		require.Equal(t, exitBench, run(context.Background(), args, &out, &complaints), strconv.Quote(complaints.String()))
		require.Contains(t, complaints.String(), "nothing that is served over TCP can be reached on interface")
		require.NotContains(t, out.String(), "ready")
	}
}
