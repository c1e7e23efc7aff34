package link_test

import (
	"context"
	"fmt"
	"net"
	"sync"
	"testing"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
	"bandproof/drivers/virtual/vxiserver"
)

// vxiHost serves devices until the test ends and gives the port of the core
// channel. The listener may be one that the test can cut.
func vxiHost(t testing.TB, core net.Listener, o vxiserver.Options, devices map[string]func() (virtual.Conversation, error)) int {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	h := vxiserver.New(devices, o)
	go func() { ended <- h.Serve(ctx, core) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("server: %v", err)
		}
	})
	return core.Addr().(*net.TCPAddr).Port
}

// cuttable is a listener whose connections can be cut.
type cuttable struct {
	net.Listener
	mutex sync.Mutex
	conns []net.Conn
}

func (c *cuttable) Accept() (net.Conn, error) {
	conn, err := c.Listener.Accept()
	if err == nil {
		c.mutex.Lock()
		c.conns = append(c.conns, conn)
		c.mutex.Unlock()
	}
	return conn, err
}

func (c *cuttable) cut(*testing.T) {
	c.mutex.Lock()
	defer c.mutex.Unlock()
	for _, conn := range c.conns {
		_ = conn.Close()
	}
	c.conns = nil
}

func talks(i *drivertest.Instrument) func() (virtual.Conversation, error) {
	return func() (virtual.Conversation, error) { return i.Talk(), nil }
}

// vxiWire serves a scripted instrument; maxReceive is how much one write takes.
func vxiWire(device string, maxReceive int) func(t *testing.T) drivertest.MessageWire {
	return func(t *testing.T) drivertest.MessageWire {
		l, _ := listen(t)
		core := &cuttable{Listener: l}
		i := drivertest.NewInstrument()
		port := vxiHost(t, core, vxiserver.Options{MaxReceive: maxReceive}, map[string]func() (virtual.Conversation, error){device: talks(i)})
		return drivertest.MessageWire{
			Config:     link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1,%d::%s::INSTR", port, device)},
			Instrument: i,
			Cut:        core.cut,
		}
	}
}

func TestVXI11Conforms(t *testing.T) { drivertest.MessageConformance(t, vxiWire("inst0", 0)) }

// A gateway takes other names of devices, and small writes.
func TestVXI11GatewayConforms(t *testing.T) {
	drivertest.MessageConformance(t, vxiWire("gpib0,5", 1024))
}
