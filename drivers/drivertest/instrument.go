package drivertest

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Instrument is the far end of links that carry whole messages: an instrument
// that does what the cases of [MessageConformance] ask. A test serves it by the
// technology under test, with one [Talk] for each connection.
//
// It knows: "ECHO? TEXT" answers TEXT; "SIZE? N" answers N digits; "LATE? TEXT"
// answers after Release; "HALF? TEXT" answers half of TEXT at once and the rest
// after Release; "RAW? TEXT" answers TEXT without a terminator, \n and \r in it
// being escapes; "SILENT?" never answers.
type Instrument struct {
	mutex   sync.Mutex
	heard   []string
	release chan struct{}
	trigger int
	remote  bool
	service bool
	polls   int
}

// NewInstrument makes one.
func NewInstrument() *Instrument { return &Instrument{release: make(chan struct{})} }

// Release lets late answers go.
func (i *Instrument) Release() {
	i.mutex.Lock()
	defer i.mutex.Unlock()
	close(i.release)
	i.release = make(chan struct{})
}

// Ask makes the instrument ask for service, or stop that.
func (i *Instrument) Ask(on bool) {
	i.mutex.Lock()
	defer i.mutex.Unlock()
	i.service = on
}

// Heard is every message that has come, as it came.
func (i *Instrument) Heard() []string {
	i.mutex.Lock()
	defer i.mutex.Unlock()
	return slices.Clone(i.heard)
}

// Triggered counts triggers.
func (i *Instrument) Triggered() int { i.mutex.Lock(); defer i.mutex.Unlock(); return i.trigger }

// Remote tells whether the instrument is under remote control.
func (i *Instrument) Remote() bool { i.mutex.Lock(); defer i.mutex.Unlock(); return i.remote }

// Polled counts how often the status byte was read.
func (i *Instrument) Polled() int { i.mutex.Lock(); defer i.mutex.Unlock(); return i.polls }

// Talk begins a conversation.
func (i *Instrument) Talk() *Talk {
	t := &Talk{of: i, arrived: make(chan struct{}), over: make(chan struct{})}
	t.begin()
	return t
}

// Talk is one conversation with an Instrument, with the methods of the virtual
// bench's.
type Talk struct {
	of   *Instrument
	late sync.WaitGroup
	end  sync.Once
	over chan struct{} // closed by Close

	mutex   sync.Mutex
	out     []piece
	arrived chan struct{} // closed and made anew when out has grown
	cleared chan struct{} // closed by the next Clear
}

type piece struct {
	data []byte
	end  bool
}

func (t *Talk) begin() { t.cleared = make(chan struct{}) }

// Receive takes a message whose last byte carried END.
func (t *Talk) Receive(message []byte) {
	t.of.mutex.Lock()
	t.of.heard = append(t.of.heard, string(message))
	release := t.of.release
	t.of.mutex.Unlock()
	t.mutex.Lock()
	t.out = nil
	cleared := t.cleared
	t.mutex.Unlock()
	verb, text, _ := strings.Cut(strings.TrimRight(string(message), "\r\n"), " ")
	later := func(data string) {
		t.late.Go(func() {
			select {
			case <-release:
				t.put(cleared, data, true)
			case <-cleared:
			case <-t.over:
			}
		})
	}
	switch verb {
	case "ECHO?":
		t.put(cleared, text+"\n", true)
	case "SIZE?":
		n, _ := strconv.Atoi(text) // the cases know what a number is
		t.put(cleared, times("0123456789", n/10+1)[:n]+"\n", true)
	case "RAW?":
		t.put(cleared, strings.NewReplacer(`\n`, "\n", `\r`, "\r").Replace(text), true)
	case "LATE?":
		later(text + "\n")
	case "HALF?":
		t.put(cleared, text[:len(text)/2], false)
		later(text[len(text)/2:] + "\n")
	}
}

// put gives a piece out, unless the conversation was cleared since.
func (t *Talk) put(cleared chan struct{}, data string, end bool) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	if t.cleared != cleared {
		return
	}
	t.out = append(t.out, piece{[]byte(data), end})
	close(t.arrived)
	t.arrived = make(chan struct{})
}

// Send waits for bytes of an answer and gives at most so many; end tells that
// the last of them carries END.
func (t *Talk) Send(ctx context.Context, most int) (part []byte, end bool, err error) {
	for {
		t.mutex.Lock()
		arrived := t.arrived
		if len(t.out) > 0 && most > 0 {
			p := &t.out[0]
			n := min(most, len(p.data))
			part = bytes.Clone(p.data[:n])
			if p.data = p.data[n:]; len(p.data) == 0 {
				end = p.end
				t.out = t.out[1:]
			}
			t.mutex.Unlock()
			return part, end, nil
		}
		t.mutex.Unlock()
		select {
		case <-arrived:
		case <-ctx.Done():
			return nil, false, ctx.Err()
		case <-t.over:
			return nil, false, errors.New("conversation is over")
		}
	}
}

// Clear is the device clear.
func (t *Talk) Clear() {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	close(t.cleared)
	t.out = nil
	t.begin()
}

// Trigger counts.
func (t *Talk) Trigger() {
	t.of.mutex.Lock()
	defer t.of.mutex.Unlock()
	t.of.trigger++
}

// StatusByte has bit 4 while an answer waits, bit 6 while service is asked for.
func (t *Talk) StatusByte() (status byte) {
	t.mutex.Lock()
	if len(t.out) > 0 {
		status |= 1 << 4
	}
	t.mutex.Unlock()
	t.of.mutex.Lock()
	defer t.of.mutex.Unlock()
	t.of.polls++
	if t.of.service {
		status |= 1 << 6
	}
	return status
}

// Remote notes it.
func (t *Talk) Remote(on bool) {
	t.of.mutex.Lock()
	defer t.of.mutex.Unlock()
	t.of.remote = on
}

// Close ends the conversation.
func (t *Talk) Close() {
	t.end.Do(func() { close(t.over) })
	t.late.Wait()
}
