package profile

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"bandproof/drivers/link"
)

// stage is a link on which the examples of a profile are played: it gives
// their replies, and notes the first thing that differs from them. Device
// clear, remote and local are no messages and may come at any place.
type stage struct {
	profile *Profile
	example int
	at      int     // exchange that comes next
	reply   *[]byte // what was answered and not yet read
	problem *Problem
	over    bool // nothing is looked at any more
}

var _ interface {
	link.Link
	link.Listener
} = (*stage)(nil)

func (s *stage) begin(example int) { s.example, s.at, s.reply = example, 0, nil }

func (s *stage) exchanges() []Exchange { return s.profile.file.Examples[s.example].Exchange }

// finish tells what was wrong with an example that has been performed.
func (s *stage) finish(e Example, gave string, err error) *Problem {
	switch {
	case s.problem != nil:
	case err != nil:
		s.differ("do", 0, "%s can't be done: %v", e.Do, err)
	case s.reply != nil:
		s.differ(fmt.Sprintf("exchange[%d]", s.at-1), 0, "has a reply that the program does not wait for: a message without a question")
	case s.at < len(s.exchanges()):
		s.differ(fmt.Sprintf("exchange[%d]", s.at), 0, "never takes place: the program has done %q before it comes to this", e.Do)
	case gave != e.Gives:
		s.differ("gives", differs(gave, e.Gives)+1, "is %q, but the program makes it %q", e.Gives, gave)
	}
	return s.problem
}

// differ notes the first problem. key is below the example.
func (s *stage) differ(key string, byteAt int, format string, args ...any) {
	if s.problem != nil || s.over {
		return
	}
	_, line, words := s.profile.document.Where(fmt.Sprintf("example[%d].%s", s.example, key))
	s.problem = &Problem{Line: line, Key: words, Byte: byteAt, Text: fmt.Sprintf(format, args...)}
}

// refusal is what the driver gets once something differs.
func (s *stage) refusal(op string) error {
	return s.fail(op, link.ErrProtocol, errors.New("the example differs"))
}

func (s *stage) fail(op string, kind, cause error) error {
	return &link.Error{Address: s.Address(), Op: op, Kind: kind, Err: cause}
}

// next is the exchange that comes next, nil at the end.
func (s *stage) next() *Exchange {
	if list := s.exchanges(); s.at < len(list) {
		return &list[s.at]
	}
	return nil
}

func (s *stage) Address() string { return "the example" }

func (s *stage) Write(ctx context.Context, message []byte) error {
	if s.problem != nil || s.over || ctx.Err() != nil {
		return s.refusal("write")
	}
	x, key := s.next(), fmt.Sprintf("exchange[%d].send", s.at)
	switch {
	case x == nil:
		s.differ("exchange", 0, "ends, but the program goes on and sends %s", quote(string(message)))
	case x.Send == "":
		s.differ(fmt.Sprintf("exchange[%d]", s.at), 0, "is no message that is sent, but the program sends %s", quote(string(message)))
	case x.Send != string(message):
		n := differs(x.Send, string(message)) + 1
		s.differ(key, n, "is %s, but the program sends %s; they differ at byte %d", quote(x.Send), quote(string(message)), n)
	}
	if s.problem != nil {
		return s.refusal("write")
	}
	s.at++
	s.reply = x.bytes(x.Reply, x.ReplyHex)
	return nil
}

func (s *stage) Read(context.Context) ([]byte, error) {
	if s.problem != nil || s.over {
		return nil, s.refusal("read")
	}
	if s.reply != nil {
		reply := *s.reply
		s.reply = nil
		return reply, nil
	}
	return s.hear()
}

// hear gives a message that comes unasked; without one there is silence.
func (s *stage) hear() ([]byte, error) {
	if x := s.next(); x != nil {
		if message := x.bytes(x.Hear, x.HearHex); message != nil {
			s.at++
			return *message, nil
		}
	}
	return nil, s.fail("read", link.ErrTimeout, context.DeadlineExceeded)
}

// Listen gives the next message that comes unasked.
func (s *stage) Listen(ctx context.Context) ([]byte, error) { return s.Read(ctx) }

func (s *stage) Query(ctx context.Context, message []byte) ([]byte, error) {
	at := s.at
	if err := s.Write(ctx, message); err != nil {
		return nil, err
	}
	if s.reply == nil {
		if x := s.next(); x == nil || x.bytes(x.Hear, x.HearHex) == nil {
			s.differ(fmt.Sprintf("exchange[%d]", at), 0, "has no reply, but the program waits for one")
			return nil, s.refusal("read")
		}
	}
	return s.Read(ctx)
}

func (s *stage) Trigger(context.Context) error {
	if s.problem != nil || s.over {
		return s.refusal("trigger")
	}
	if x := s.next(); x == nil || !x.Trigger {
		s.differ("exchange", 0, "has no trigger = true in place %d, where the program triggers", s.at+1)
		return s.refusal("trigger")
	}
	s.at++
	return nil
}

// StatusByte is unsupported where the examples show no poll at all: they are
// of a link that has none.
func (s *stage) StatusByte(context.Context) (byte, error) {
	if s.problem != nil || s.over {
		return 0, s.refusal("status")
	}
	if x := s.next(); x != nil && x.Poll != nil {
		s.at++
		return byte(*x.Poll), nil
	}
	for _, e := range s.profile.file.Examples {
		for _, x := range e.Exchange {
			if x.Poll != nil {
				s.differ("exchange", 0, "has no poll in place %d, where the program reads the status byte", s.at+1)
				return 0, s.refusal("status")
			}
		}
	}
	return 0, s.fail("status", errors.ErrUnsupported, errors.New("the examples show none"))
}

func (s *stage) Stray() []byte                { return nil }
func (s *stage) Clear(context.Context) error  { return nil }
func (s *stage) Remote(context.Context) error { return nil }
func (s *stage) Local(context.Context) error  { return nil }
func (s *stage) Close() error                 { return nil }

// bytes is a message that stands as text or as hexadecimal bytes; nil for none.
func (x *Exchange) bytes(text, digits string) *[]byte {
	if text != "" {
		data := []byte(text)
		return &data
	}
	if digits == "" {
		return nil
	}
	data, _ := hex.DecodeString(strings.ReplaceAll(digits, " ", "")) // Load has read it before
	return &data
}

// mistake tells what is wrong with an exchange, "" for nothing.
func (x *Exchange) mistake() string {
	for _, text := range []string{x.Send, x.Reply, x.Hear} {
		if strings.ContainsFunc(text, isControl) {
			return "holds a control character; terminators are added by the link, and bytes that are no text stand in reply_hex or hear_hex"
		}
	}
	for _, digits := range []string{x.ReplyHex, x.HearHex} {
		if _, err := hex.DecodeString(strings.ReplaceAll(digits, " ", "")); err != nil {
			return fmt.Sprintf("has %q for bytes; expected pairs of hexadecimal digits, such as \"12 34 FF\"", digits)
		}
	}
	kinds := 0
	for _, has := range []bool{x.Send != "", x.Hear+x.HearHex != "", x.Poll != nil, x.Trigger} {
		if has {
			kinds++
		}
	}
	switch {
	case kinds == 0:
		return "is empty; expected send with or without reply, hear, poll or trigger"
	case kinds > 1:
		return "is more than one thing; expected send with or without reply, hear, poll or trigger"
	case x.Send == "" && x.Reply+x.ReplyHex != "":
		return "has a reply, but no send that it answers; what comes unasked is hear"
	case x.Reply != "" && x.ReplyHex != "" || x.Hear != "" && x.HearHex != "":
		return "says its bytes twice, as text and as hexadecimal digits"
	case x.Poll != nil && (*x.Poll < 0 || *x.Poll > 255):
		return fmt.Sprintf("has poll = %d; expected a status byte from 0 to 255", *x.Poll)
	}
	return ""
}

// differs is the index of the first byte that differs.
func differs(a, b string) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}
