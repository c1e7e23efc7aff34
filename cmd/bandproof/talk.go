package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"bandproof/drivers/link"
	"bandproof/drivers/profiles"
	"bandproof/drivers/wirelog"
	"bandproof/procedures/quantity"

	"github.com/spf13/cobra"
)

// talkSchema names the JSON shape of what talk did.
const talkSchema = "bandproof talk 1"

type talkFlags struct {
	link                                 link.Config
	profile, timeout, gap, log           string
	read, clear, status, trigger, remote bool
	local, json, verbose, plain          bool
}

func talkCommand(t *terminal) *cobra.Command {
	var f talkFlags
	c := &cobra.Command{
		Use:   "talk ADDRESS [MESSAGE...]",
		Short: "send messages to one instrument by hand and print its answers",
		Long: `Send messages to one instrument and print its answers. A message with a
question (a header that ends in "?") waits for its answer; --read waits after
any other too. Without MESSAGE, and without another act, lines are read from
standard input. The acts take place in this order: --clear, --remote, the
messages, --trigger, --status, --local.

talk is your own hand at the instrument: it sends what you type. The interlock
of a run, which keeps levels away from inputs that they would damage, does not
stand between. Look at what is connected before you set a level.`,
		Example: `  bandproof talk TCPIP0::192.0.2.7::5025::SOCKET "*IDN?"
  bandproof talk ASRL/dev/ttyUSB0::INSTR --baud 19200 --read-terminator CR ID --read
  bandproof talk GPIB0::7::INSTR --via ASRL/dev/ttyUSB0::INSTR --status`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{fmt.Errorf("%s takes an address, then messages; see \"%s --help\"", c.CommandPath(), c.CommandPath())}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return talk(c.Context(), t, args[0], args[1:], f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", "", "take the settings of the link from this profile (a ready one, or a file)")
	fl.StringVar(&f.link.Via, "via", "", "address of the adapter or gateway that a GPIB instrument is reached through")
	fl.StringVar(&f.timeout, "timeout", "", "how long to wait for an answer, such as \"20 s\"; 5 s unless stated")
	fl.StringVar(&f.link.ReadTerminator, "read-terminator", "", "what ends an answer: LF (unless stated), CR, CRLF or none")
	fl.StringVar(&f.link.WriteTerminator, "write-terminator", "", "what ends a message: LF (unless stated), CR, CRLF or none")
	fl.StringVar(&f.gap, "gap", "", "silence that ends an answer where nothing else does, such as \"100 ms\"")
	fl.BoolVar(&f.link.Echo, "echo", false, "the instrument sends each message back before it answers")
	fl.BoolVar(&f.link.Overlap, "overlap", false, "HiSLIP: ask for overlap mode")
	fl.BoolVar(&f.plain, "plain-text", false, "a # in an answer begins no block of data")
	fl.IntVar(&f.link.Baud, "baud", 0, "serial: bits per second; 9600 unless stated")
	fl.IntVar(&f.link.DataBits, "data-bits", 0, "serial: 5 to 8; 8 unless stated")
	fl.StringVar(&f.link.Parity, "parity", "", "serial: none (unless stated), odd, even, mark or space")
	fl.StringVar(&f.link.StopBits, "stop-bits", "", "serial: 1 (unless stated), 1.5 or 2")
	fl.StringVar(&f.link.FlowControl, "flow-control", "", "serial: none (unless stated), xonxoff or rtscts")
	fl.BoolVar(&f.read, "read", false, "wait for an answer after every message, question or not; without a message, read once")
	fl.BoolVar(&f.clear, "clear", false, "clear the device first")
	fl.BoolVar(&f.remote, "remote", false, "switch to remote control first")
	fl.BoolVar(&f.trigger, "trigger", false, "trigger the device at the end")
	fl.BoolVar(&f.status, "status", false, "print the status byte at the end")
	fl.BoolVar(&f.local, "local", false, "give the front panel back at the end")
	fl.StringVar(&f.log, "log", "", "write a wire log to this new file")
	fl.BoolVar(&f.json, "json", false, "print as JSON (schema \""+talkSchema+"\")")
	fl.BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
	return c
}

// config is the link that the flags describe; a profile fills in what they leave out.
func (f talkFlags) config(address string) (link.Config, error) {
	c := f.link
	c.Address, c.PlainText, c.Common = address, f.plain, true
	for flag, to := range map[string]struct {
		text string
		d    *time.Duration
	}{"--timeout": {f.timeout, &c.Timeout}, "--gap": {f.gap, &c.Gap}} {
		if to.text == "" {
			continue
		}
		d, err := quantity.Parse[quantity.Second](to.text)
		if err != nil {
			return c, usage{fmt.Errorf("%s: %w", flag, err)}
		}
		*to.d = time.Duration(d.Float() * float64(time.Second))
	}
	if f.profile != "" {
		p, err := profiles.Open(".", f.profile)
		if err != nil {
			return c, usage{fmt.Errorf("--profile: %w", err)}
		}
		c = p.Prefer(c)
	}
	if err := c.Check(); err != nil {
		return c, usage{err}
	}
	return c, nil
}

func talk(ctx context.Context, t *terminal, address string, messages []string, f talkFlags) (err error) {
	c, err := f.config(address)
	if err != nil {
		return err
	}
	level := slog.LevelError
	if f.verbose {
		level = slog.LevelInfo
	}
	o := link.Opener{Log: slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: level}))}
	if f.log != "" {
		file, err := os.OpenFile(f.log, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return usage{fmt.Errorf("--log: %w; a wire log is written to a new file", err)}
		}
		w := wirelog.NewWriter(file, wireLogHeader(time.Now()), wirelog.Options{})
		o.Wire = w
		defer func() {
			if err := errors.Join(w.Close(), file.Close()); err != nil {
				t.note("warning: %s: %v", filepath.Base(f.log), err)
			}
		}()
	}
	l, err := o.Open(ctx, c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	k := &talker{t: t, l: l, f: f, Schema: talkSchema, Address: l.Address(), Exchanges: []said{}}
	err = k.acts(ctx, messages)
	if f.json {
		err = errors.Join(err, t.json(k))
	}
	return err
}

// talker does the acts and keeps what was said, which is the JSON shape too.
type talker struct {
	t        *terminal
	l        link.Link
	f        talkFlags
	cautious bool

	Schema    string `json:"schema"`
	Address   string `json:"address"`
	Exchanges []said `json:"exchanges"`
	Status    *byte  `json:"status_byte,omitempty"`
}

// said is one message with its answer, if it had one.
type said struct {
	Message  *string `json:"message,omitempty"`
	Answer   *string `json:"answer,omitempty"` // as text; bytes that are no UTF-8 are replaced
	Bytes    string  `json:"answer_bytes,omitempty"`
	Unasked  string  `json:"unasked,omitempty"` // what had come before the question
	Seconds  float64 `json:"seconds"`
	Question bool    `json:"question"`
}

func (k *talker) acts(ctx context.Context, messages []string) error {
	act := func(wanted bool, do func(context.Context) error) error {
		if !wanted {
			return nil
		}
		return do(ctx)
	}
	if err := act(k.f.clear, k.l.Clear); err != nil {
		return err
	}
	if err := act(k.f.remote, k.l.Remote); err != nil {
		return err
	}
	if err := k.all(ctx, messages); err != nil {
		return err
	}
	if err := act(k.f.trigger, k.l.Trigger); err != nil {
		return err
	}
	if err := act(k.f.status, k.status); err != nil {
		return err
	}
	return act(k.f.local, k.l.Local)
}

// all sends the messages; without any, and without another act, those that
// stand in standard input, a line each.
func (k *talker) all(ctx context.Context, messages []string) error {
	for _, m := range messages {
		if err := k.say(ctx, m); err != nil {
			return err
		}
	}
	switch {
	case len(messages) > 0:
		return nil
	case k.f.read:
		return k.listen(ctx, said{})
	case k.f.clear || k.f.remote || k.f.trigger || k.f.status || k.f.local:
		return nil
	}
	for {
		m, err := k.t.lines.next(ctx)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if strings.TrimSpace(m) == "" {
			continue
		}
		if err := k.say(ctx, m); err != nil {
			return err
		}
	}
}

func (k *talker) say(ctx context.Context, message string) error {
	asked, only := asks(message)
	if !only && !k.cautious {
		k.cautious = true
		k.t.note("caution: this is your own hand; no interlock stands between what you send and the inputs that are connected")
	}
	x := said{Message: &message, Question: asked}
	begin := time.Now()
	if !asked && !k.f.read {
		err := k.l.Write(ctx, []byte(message))
		x.Seconds = time.Since(begin).Seconds()
		k.Exchanges = append(k.Exchanges, x)
		return err
	}
	answer, err := k.l.Query(ctx, []byte(message))
	if stray := k.l.Stray(); len(stray) > 0 {
		x.Unasked = wirelog.Quote(stray)
		k.t.note("note: had come before the question: %s", x.Unasked)
	}
	return k.heard(x, begin, answer, err)
}

func (k *talker) listen(ctx context.Context, x said) error {
	begin := time.Now()
	answer, err := k.l.Read(ctx)
	return k.heard(x, begin, answer, err)
}

func (k *talker) heard(x said, begin time.Time, answer []byte, err error) error {
	x.Seconds = time.Since(begin).Seconds()
	if err == nil {
		text := strings.ToValidUTF8(string(answer), "\ufffd")
		x.Answer = &text
		if !printing(answer) {
			x.Bytes = wirelog.Quote(answer)
			text = x.Bytes
		}
		if !k.f.json {
			k.t.print("%s", text)
		}
	}
	k.Exchanges = append(k.Exchanges, x)
	return err
}

func (k *talker) status(ctx context.Context) error {
	b, err := k.l.StatusByte(ctx)
	if err != nil {
		return err
	}
	if k.Status = &b; !k.f.json {
		k.t.print("status byte %d (%08b)", b, b)
	}
	return nil
}

// printing tells whether an answer can be shown as it is.
func printing(b []byte) bool {
	if !utf8.Valid(b) {
		return false
	}
	return !slices.ContainsFunc([]rune(string(b)), func(r rune) bool {
		return unicode.IsControl(r) && r != '\t' || unicode.Is(unicode.Bidi_Control, r)
	})
}

// asks tells whether a message holds a question, a header that ends in "?",
// and whether it holds nothing else. Texts in quotes are passed over.
func asks(message string) (question, only bool) {
	only = true
	for len(message) > 0 {
		var unit string
		unit, message = cutUnit(message)
		header, _, _ := strings.Cut(strings.TrimSpace(unit), " ")
		switch {
		case header == "":
		case strings.HasSuffix(header, "?"):
			question = true
		default:
			only = false
		}
	}
	return question, only && question
}

// cutUnit takes the first message unit off: up to a semicolon that stands in no quotes.
func cutUnit(message string) (unit, rest string) {
	var quote byte
	for k := range len(message) {
		switch c := message[k]; {
		case quote != 0 && c == quote:
			quote = 0
		case quote != 0:
		case c == '"' || c == '\'':
			quote = c
		case c == ';':
			return message[:k], message[k+1:]
		}
	}
	return message, ""
}
