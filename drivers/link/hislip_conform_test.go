package link_test

import (
	"context"
	"fmt"
	"net"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/link/hislip"
)

func TestHiSLIPConforms(t *testing.T) {
	for name, overlap := range map[string]bool{"synchronised": false, "overlap": true} {
		t.Run(name, func(t *testing.T) {
			drivertest.MessageConformance(t, func(t *testing.T) drivertest.MessageWire { return hisWireTo(t, overlap) })
		})
	}
}

// hisFar serves a scripted instrument by HiSLIP. Every message is answered in a
// conversation of its own, so that an answer that comes late still carries the
// identifier of its question.
type hisFar struct {
	instrument *drivertest.Instrument
	serving    sync.WaitGroup

	mutex    sync.Mutex
	conns    []net.Conn
	sessions []*hisFarSession // by their numbers
}

type hisFarSession struct {
	far     *hisFar
	talk    *drivertest.Talk // for all but messages
	sync    net.Conn
	waiting sync.WaitGroup // for answers

	mutex    sync.Mutex
	overlap  bool
	clearing bool
	given    bool // an answer has gone out since the last message
	sent     uint32
	open     []*drivertest.Talk
}

func hisWireTo(t *testing.T, overlap bool) drivertest.MessageWire {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	f := &hisFar{instrument: drivertest.NewInstrument()}
	f.serving.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			f.mutex.Lock()
			f.conns = append(f.conns, conn)
			f.mutex.Unlock()
			f.serving.Go(func() { f.serve(conn); _ = conn.Close() })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		f.cut(t)
		f.serving.Wait()
	})
	return drivertest.MessageWire{
		Config:     link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1::hislip0,%d::INSTR", l.Addr().(*net.TCPAddr).Port), Overlap: overlap},
		Instrument: f.instrument,
		Cut:        f.cut,
	}
}

// cut breaks all connections.
func (f *hisFar) cut(*testing.T) {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	for _, c := range f.conns {
		_ = c.Close()
	}
	f.conns = nil
}

func say(conn net.Conn, m hislip.Message) { _, _ = conn.Write(m.Append(nil)) } // a client that is gone hears nothing

func (f *hisFar) serve(conn net.Conn) {
	in := hislip.NewReader(conn, 1<<20)
	m, err := in.Next()
	if err != nil {
		return
	}
	if m.Type == hislip.AsyncInitialize {
		f.mutex.Lock()
		s := f.sessions[m.Parameter]
		f.mutex.Unlock()
		say(conn, hislip.Message{Type: hislip.AsyncInitializeResponse})
		s.async(conn, in)
		return
	}
	s := &hisFarSession{far: f, talk: f.instrument.Talk(), sync: conn, sent: hislip.NoneSentID}
	f.mutex.Lock()
	number := len(f.sessions)
	f.sessions = append(f.sessions, s)
	f.mutex.Unlock()
	say(conn, hislip.Message{Type: hislip.InitializeResponse, Parameter: hislip.InitializeParameter(hislip.Version1, uint16(number))})
	s.messages(in)
	s.drop()
	s.waiting.Wait()
	s.talk.Close()
}

// drop ends all conversations that still may answer.
func (s *hisFarSession) drop() {
	s.mutex.Lock()
	open := s.open
	s.open = nil
	s.mutex.Unlock()
	for _, k := range open {
		k.Close()
	}
}

// messages treats the synchronous channel.
func (s *hisFarSession) messages(in *hislip.Reader) {
	var input []byte
	for {
		m, err := in.Next()
		if err != nil {
			return
		}
		s.mutex.Lock()
		clearing := s.clearing
		s.mutex.Unlock()
		switch {
		case m.Type == hislip.DeviceClearComplete:
			input = nil
			s.drop()
			s.mutex.Lock()
			s.clearing, s.given, s.sent, s.overlap = false, false, hislip.NoneSentID, m.Control == hislip.Overlap
			s.mutex.Unlock()
			say(s.sync, hislip.Message{Type: hislip.DeviceClearAcknowledge, Control: m.Control})
		case clearing:
		case m.Type == hislip.Trigger:
			s.talk.Trigger()
		case m.Type == hislip.Data, m.Type == hislip.DataEnd:
			if input = append(input, m.Payload...); m.Type == hislip.DataEnd {
				s.ask(input, m.Parameter)
				input = nil
			}
		}
	}
}

// ask begins a conversation about one message.
func (s *hisFarSession) ask(message []byte, id uint32) {
	k := s.far.instrument.Talk()
	s.mutex.Lock()
	s.open, s.given = append(s.open, k), false
	s.mutex.Unlock()
	k.Receive(message)
	s.waiting.Go(func() {
		for end := false; !end; {
			var part []byte
			var err error
			if part, end, err = k.Send(context.Background(), 10_000); err != nil {
				return
			}
			s.answer(k, part, end, id)
		}
	})
}

func (s *hisFarSession) answer(k *drivertest.Talk, part []byte, end bool, id uint32) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if s.clearing || !slices.Contains(s.open, k) {
		return
	}
	m := hislip.Message{Type: hislip.Data, Parameter: id, Payload: part}
	if s.overlap {
		m.Parameter = s.sent + hislip.NextID
	}
	if end {
		m.Type = hislip.DataEnd
		s.sent += hislip.NextID
		s.given = true
		s.open = slices.DeleteFunc(s.open, func(o *drivertest.Talk) bool { return o == k })
	}
	say(s.sync, m)
}

// async treats the asynchronous channel.
func (s *hisFarSession) async(conn net.Conn, in *hislip.Reader) {
	for {
		m, err := in.Next()
		if err != nil {
			return
		}
		switch m.Type {
		case hislip.AsyncMaximumMessageSize:
			say(conn, hislip.Message{Type: hislip.AsyncMaximumMessageSizeResponse, Payload: hislip.Size(5000)})
		case hislip.AsyncDeviceClear:
			s.mutex.Lock()
			s.clearing = true
			s.mutex.Unlock()
			say(conn, hislip.Message{Type: hislip.AsyncDeviceClearAcknowledge})
		case hislip.AsyncRemoteLocalControl:
			s.talk.Remote(m.Control == hislip.RemoteEnableGoLock)
			say(conn, hislip.Message{Type: hislip.AsyncRemoteLocalResponse})
		case hislip.AsyncStatusQuery:
			s.mutex.Lock()
			if m.Control == hislip.RMTDelivered {
				s.given = false
			}
			status := s.talk.StatusByte()
			if s.given {
				status |= 16
			}
			s.mutex.Unlock()
			say(conn, hislip.Message{Type: hislip.AsyncStatusResponse, Control: status})
		}
	}
}
