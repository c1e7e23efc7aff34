//go:build unix

package faulty_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// truth is what the instruments at the far end did: the only witness that no
// fault of the link can reach.
type truth struct {
	bench *virtual.Bench
	lines map[string]net.Conn // sound conversations of the test's own
	in    map[string]*bufio.Reader

	mutex sync.Mutex
	heard []heard
}

type heard struct{ instrument, message, reply string }

// newTruth builds the default virtual bench, on which no gate takes time.
func newTruth() (*truth, error) {
	scenario, err := virtual.DefaultScenario()
	if err != nil {
		return nil, err
	}
	u := &truth{lines: map[string]net.Conn{}, in: map[string]*bufio.Reader{}}
	u.bench, err = virtual.New(scenario, virtual.Options{Clock: virtual.NewInstantClock(), Heard: u.hear})
	return u, err
}

func (u *truth) close() error {
	for _, c := range u.lines {
		_ = c.Close()
	}
	return u.bench.Close()
}

func (u *truth) hear(instrument, message, reply string) {
	u.mutex.Lock()
	defer u.mutex.Unlock()
	u.heard = append(u.heard, heard{instrument, message, reply})
}

// now is the place in the list of what was heard.
func (u *truth) now() int {
	u.mutex.Lock()
	defer u.mutex.Unlock()
	return len(u.heard)
}

// tell sends a message to an instrument past the faulty link; one that ends
// with '?' is answered.
func (u *truth) tell(instrument, message string) (string, error) {
	c := u.lines[instrument]
	if c == nil {
		var err error
		if c, err = u.bench.Dial(context.Background(), instrument); err != nil {
			return "", err
		}
		u.lines[instrument], u.in[instrument] = c, bufio.NewReader(c)
	}
	if _, err := c.Write([]byte(message + "\n")); err != nil || !strings.HasSuffix(message, "?") {
		return "", err
	}
	reply, err := u.in[instrument].ReadString('\n')
	return strings.TrimSpace(reply), err
}

// measured lists the replies of the counter to questions for a measurement
// that it carried out since a place in the list.
func (u *truth) measured(since int) (replies []string) {
	u.mutex.Lock()
	defer u.mutex.Unlock()
	for _, h := range u.heard[since:] {
		if m := strings.ToUpper(h.message); h.instrument == counterName && (strings.Contains(m, "READ") || strings.Contains(m, "FETC")) {
			for part := range strings.SplitSeq(h.reply, ";") {
				replies = append(replies, strings.TrimSpace(part))
			}
		}
	}
	return replies
}

const (
	counterName = "counter"
	sourceName  = "MW"
)

// digitsApart tells whether two texts differ in nothing but which digits they
// have: what a link without a checksum can do to one message unseen.
func digitsApart(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range len(a) {
		if a[i] != b[i] && (!isDigit(a[i]) || !isDigit(b[i])) {
			return false
		}
	}
	return true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// errorKinds are what an error may say, the most telling first.
var errorKinds = []struct {
	name string
	kind error
}{
	{"out of step", drivers.ErrOutOfStep}, {"unreadable", drivers.ErrUnreadable}, {"instrument", drivers.ErrInstrument},
	{"interlock", drivers.ErrInterlock}, {"protocol", link.ErrProtocol}, {"disconnected", link.ErrDisconnected},
	{"busy", link.ErrBusy}, {"dirty", link.ErrDirty}, {"timeout", link.ErrTimeout}, {"deadline", context.DeadlineExceeded},
	{"closed", link.ErrClosed}, {"unsupported", errors.ErrUnsupported}, {"address", link.ErrAddress},
}

// kindOf names the kind of an error; one without kind or type is a violation.
func kindOf(err error) (string, error) {
	var ofLink *link.Error
	var ofDriver *drivers.Error
	if !errors.As(err, &ofLink) && !errors.As(err, &ofDriver) {
		return "", fmt.Errorf("error without a type: %T %w", err, err)
	}
	for _, k := range errorKinds {
		if errors.Is(err, k.kind) {
			return k.name, nil
		}
	}
	return "", fmt.Errorf("error of no kind: %w", err)
}
