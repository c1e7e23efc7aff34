package link

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"
)

// canned is a messenger whose answers and failures a test has put in.
type canned struct {
	calls   []string
	answers []string
	fail    map[string]error
	late    string
}

func (c *canned) did(what string) error {
	c.calls = append(c.calls, what)
	return c.fail[what[:min(5, len(what))]]
}
func (c *canned) write(_ context.Context, m []byte) error { return c.did("write " + string(m)) }
func (c *canned) clear(context.Context) error             { return c.did("clear") }
func (c *canned) trigger(context.Context) error           { return c.did("trigg") }
func (c *canned) remote(_ context.Context, on bool) error { return c.did(fmt.Sprint("panel ", on)) }
func (c *canned) close() error                            { return c.did("close") }
func (c *canned) status(context.Context) (byte, error)    { return 0x50, c.did("statu") }
func (c *canned) take() []byte                            { late := c.late; c.late = ""; return []byte(late) }
func (c *canned) read(ctx context.Context, _ int) ([]byte, error) {
	if err := c.did("reads"); err != nil {
		return nil, err
	}
	if len(c.answers) == 0 {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	answer := c.answers[0]
	c.answers = c.answers[1:]
	return []byte(answer), nil
}

// cannedLink opens a link on one canned connection after the other.
func cannedLink(t *testing.T, c Config, connections ...*canned) Link {
	t.Helper()
	r := Resource{Kind: VXI11, Host: "h", LANDevice: "inst0"}
	o := Opener{Log: slog.New(slog.DiscardHandler)}
	k, err := o.openMessages(t.Context(), r, c.filled(), func(context.Context) (messenger, error) {
		if len(connections) == 0 {
			return nil, errors.New("nothing there")
		}
		now := connections[0]
		connections = connections[1:]
		return now, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

func TestOneMessageIsNotTwo(t *testing.T) {
	tests := []struct {
		whole, terminator string
		plain             bool
		want              string
		refused           bool
	}{
		{whole: "1.5\n", want: "1.5"},
		{whole: "1.5\r\n", want: "1.5"},
		{whole: "1.5", want: "1.5"}, // END alone
		{whole: "\n", want: ""},
		{whole: "1.5\r\n", terminator: "CR", want: "1.5"},
		{whole: "1.5\n2.5\n", refused: true},
		{whole: "1.5\n2", refused: true},
		{whole: "1.5\n2.5\n", terminator: "none", want: "1.5\n2.5\n"},
		{whole: "#13a\nb\n", want: "#13a\nb"},
		{whole: "#15a\nb\n", refused: true}, // two bytes of the block are missing
		{whole: "#15a\nb\n", plain: true, refused: true},
		{whole: "#1", plain: true, want: "#1"},
	}
	for _, test := range tests {
		k := cannedLink(t, Config{ReadTerminator: test.terminator, PlainText: test.plain}, &canned{answers: []string{test.whole}})
		got, err := k.Query(t.Context(), []byte("A?"))
		if string(got) != test.want || errors.Is(err, ErrProtocol) != test.refused {
			t.Errorf("%q with terminator %q is %q, %v; want %q, refused %t", test.whole, test.terminator, got, err, test.want, test.refused)
		}
		if test.refused && !errors.Is(k.Write(t.Context(), nil), ErrDirty) {
			t.Errorf("%q: a link that got two messages for one is not dirty", test.whole)
		}
	}
}

func TestMessagesClearByDeviceClearElseByANewConnection(t *testing.T) {
	failed := errors.New("device clear refused")
	tests := []struct {
		name          string
		config        Config
		first, second *canned
		calls1        string
		calls2        string
	}{
		{"device clear", Config{}, &canned{}, &canned{}, "clear", ""},
		{"that fails", Config{}, &canned{fail: map[string]error{"clear": failed}}, &canned{}, "clear close", "clear"},
		{"that the technology lacks", Config{}, &canned{fail: map[string]error{"clear": errors.ErrUnsupported}},
			&canned{fail: map[string]error{"clear": errors.ErrUnsupported}}, "clear close", "clear"},
		{"that the instrument must not get", Config{NoDeviceClear: true}, &canned{}, &canned{}, "close", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			k := cannedLink(t, test.config, test.first, test.second)
			if err := k.Clear(t.Context()); err != nil {
				t.Fatal(err)
			}
			if got := strings.Join(test.first.calls, " "); got != test.calls1 {
				t.Errorf("on the first connection: %s; want %s", got, test.calls1)
			}
			if got := strings.Join(test.second.calls, " "); got != test.calls2 {
				t.Errorf("on the second connection: %s; want %s", got, test.calls2)
			}
			if err := k.Write(t.Context(), []byte("A")); err != nil {
				t.Errorf("after Clear: %v", err)
			}
		})
	}
}

func TestMessagesThatFail(t *testing.T) {
	gone := errors.New("connection reset")
	tests := []struct {
		name       string
		fail       map[string]error
		do         func(Link, context.Context) error
		kind, then error // of the operation, and of what follows before a Clear
	}{
		{"write on a lost connection", map[string]error{"write": gone}, query, ErrDisconnected, ErrDisconnected},
		{"read on a lost connection", map[string]error{"reads": gone}, query, ErrDisconnected, ErrDisconnected},
		{"what is no message", map[string]error{"reads": &Error{Kind: ErrProtocol, Err: gone}}, query, ErrProtocol, ErrDirty},
		{"no answer", nil, query, ErrTimeout, ErrDirty},
		{"no message where nothing was asked", nil, func(k Link, ctx context.Context) error { _, err := k.Read(ctx); return err }, ErrTimeout, nil},
		{"trigger that there is none", map[string]error{"trigg": errors.ErrUnsupported}, Link.Trigger, errors.ErrUnsupported, nil},
		{"a message that the instrument calls unsupported", map[string]error{"reads": errors.ErrUnsupported}, query, ErrProtocol, ErrDirty},
		{"remote on a lost connection", map[string]error{"panel": gone}, Link.Remote, ErrDisconnected, ErrDisconnected},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			k := cannedLink(t, Config{}, &canned{fail: test.fail})
			ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
			defer cancel()
			err := test.do(k, ctx)
			var named *Error
			if !errors.Is(err, test.kind) || !errors.As(err, &named) || named.Address != k.Address() || named.Op == "" {
				t.Fatalf("error %v; want a *link.Error of kind %q with address and operation", err, test.kind)
			}
			if _, err := k.StatusByte(t.Context()); !errors.Is(err, test.then) {
				t.Errorf("before Clear: %v; want %v", err, test.then)
			}
		})
	}
}

func query(k Link, ctx context.Context) error { _, err := k.Query(ctx, []byte("A?")); return err }

func TestMessagesTellOfStrays(t *testing.T) {
	k := cannedLink(t, Config{}, &canned{answers: []string{"1\n", "2\n"}, late: "STALE\n"})
	for _, want := range []string{"STALE", ""} {
		if err := query(k, t.Context()); err != nil || string(k.Stray()) != want {
			t.Errorf("query: %v, stray %q; want %q", err, k.Stray(), want)
		}
	}
}

func TestMessagesKeepTheTimesTheyAreGiven(t *testing.T) {
	c := &canned{}
	k := cannedLink(t, Config{Timeout: 20 * time.Millisecond}, c)
	if err := query(k, context.Background()); !errors.Is(err, ErrTimeout) {
		t.Errorf("without a deadline: %v; want the link's own", err)
	}
	if err := k.Close(); err != nil {
		t.Error(err)
	}
	if err := query(k, context.Background()); !errors.Is(err, ErrClosed) {
		t.Errorf("after Close: %v", err)
	}
	if !slices.Contains(c.calls, "close") {
		t.Errorf("calls %v; want close", c.calls)
	}
}

// A read that ends within a message leaves the link dirty though nothing was
// asked: the rest of the message would be taken for one.
func TestReadThatEndsWithinAMessageLeavesTheLinkDirty(t *testing.T) {
	for name, row := range map[string]struct {
		cause error
		dirty bool
	}{
		"nothing came": {&Error{Kind: ErrTimeout, Err: errors.New("silence")}, false},
		"part came":    {inPart(&Error{Kind: ErrTimeout, Err: errors.New("after 3 bytes")}), true},
	} {
		t.Run(name, func(t *testing.T) {
			c := &canned{fail: map[string]error{"reads": row.cause}}
			k := cannedLink(t, Config{}, c)
			if _, err := k.Read(t.Context()); !errors.Is(err, ErrTimeout) {
				t.Fatal(err)
			}
			c.fail, c.answers = nil, []string{"567\n"}
			if answer, err := k.Read(t.Context()); errors.Is(err, ErrDirty) != row.dirty {
				t.Errorf("the next read gives %q, %v", answer, err)
			}
		})
	}
}
