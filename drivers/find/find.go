package find

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"bandproof/drivers/link"
)

// Where Options leave a value out.
const (
	DefaultTime = 5 * time.Second
	// answerTime is how long one instrument may take to say who it is.
	answerTime = 2 * time.Second
	// pollTime is how long one GPIB address may take to be polled.
	pollTime = time.Second
	// listenTime is how long answers to a broadcast or multicast are waited for.
	listenTime = 1500 * time.Millisecond
	// mostIdentity is the longest answer to *IDN? that is taken, in bytes: it is
	// shown, and stands in one line of a bench file.
	mostIdentity = 1000
)

// Options say where to look, and how long.
type Options struct {
	Time     time.Duration // in all
	Try      []string      // hosts, HOST:PORT, serial devices or resource names, which are asked
	Adapters []string      // GPIB adapters by their resource names; the addresses behind them are polled
	// AskSerial and AskGPIB ask every serial port, and every GPIB address that
	// answers a poll, who it is. Old instruments may take that for something else.
	AskSerial, AskGPIB bool
	Bauds              []int // at which serial ports are asked, one after the other; 9600 unless stated
	Local              bool  // look at this machine and what is named only, send nothing to the network
}

// Finder looks for instruments. The zero value looks at this machine and its
// networks; tests put something else in place of the fields.
type Finder struct {
	SerialPorts func() ([]link.SerialPort, error)
	Services    func(ctx context.Context, service string) ([]Service, error)
	Broadcast   func(ctx context.Context) ([]string, error) // hosts that say they have VXI-11
	USB         func() []link.USBInstrument
	Open        func(ctx context.Context, c link.Config) (link.Link, error)
	Log         *slog.Logger
}

// Result is all that was found, and what could not be looked at.
type Result struct {
	Found    []Found  `json:"found"`
	Problems []string `json:"problems"`
}

// Find looks everywhere at once and returns when all has answered or time is
// over; what was found until then counts. An error is a mistake in the options.
func (f Finder) Find(ctx context.Context, o Options) (Result, error) {
	f = f.filled()
	named, err := parseTries(o.Try)
	if err != nil {
		return Result{}, err
	}
	for _, a := range o.Adapters {
		if _, err := link.ParseResource(a); err != nil {
			return Result{}, fmt.Errorf("adapter: %w", err)
		}
	}
	if o.Time <= 0 {
		o.Time = DefaultTime
	}
	if len(o.Bauds) == 0 {
		o.Bauds = []int{link.DefaultBaud}
	}
	ctx, cancel := context.WithTimeout(ctx, o.Time)
	defer cancel()
	s := &search{Finder: f, o: o, ctx: ctx, asked: map[string]bool{}}
	s.run("", func() error { return s.named(named) })
	s.run("serial ports", s.serialPorts)
	s.run("USB", s.usb)
	for _, a := range o.Adapters {
		s.run("adapter "+a, func() error { return s.adapter(a) })
	}
	if !o.Local {
		s.run("VXI-11 broadcast", s.broadcast)
		s.run("multicast DNS", s.services)
	}
	s.all.Wait()
	return s.result(), nil
}

func (f Finder) filled() Finder {
	if f.SerialPorts == nil {
		f.SerialPorts = link.SerialPorts
	}
	if f.Services == nil {
		f.Services = Browse
	}
	if f.Broadcast == nil {
		f.Broadcast = func(ctx context.Context) ([]string, error) { return link.AskVXI11(ctx, nil, listenTime) }
	}
	if f.USB == nil {
		f.USB = link.Opener{}.USBInstruments
	}
	if f.Log == nil {
		f.Log = slog.New(slog.DiscardHandler)
	}
	if f.Open == nil {
		o := link.Opener{Log: f.Log, Adapters: &link.Adapters{}}
		f.Open = o.Open
	}
	return f
}

// search is one Find.
type search struct {
	Finder
	o   Options
	ctx context.Context
	all sync.WaitGroup

	mu       sync.Mutex
	found    []Found
	problems []string
	asked    map[string]bool // addresses, so that none is asked twice at a time
}

// run looks at one place while others are looked at. One place that fails does
// not keep the others from being found.
func (s *search) run(what string, look func() error) {
	s.all.Go(func() {
		err := look()
		if err == nil {
			return
		}
		text := err.Error()
		if what != "" {
			text = what + ": " + text
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		if !slices.Contains(s.problems, text) {
			s.problems = append(s.problems, text)
		}
	})
}

func (s *search) add(f Found) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.found = append(s.found, f)
}

// claim tells whether an address has not been asked yet; what was found there
// is kept in any case.
func (s *search) claim(f Found) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := f.Via + " " + f.Address
	if s.asked[key] {
		s.found = append(s.found, f)
		return false
	}
	s.asked[key] = true
	return true
}

func (s *search) result() Result {
	s.mu.Lock()
	defer s.mu.Unlock()
	r := Result{Found: []Found{}, Problems: slices.Sorted(slices.Values(s.problems))}
	for _, f := range merge(s.found) {
		f.propose()
		r.Found = append(r.Found, f)
	}
	if r.Problems == nil {
		r.Problems = []string{}
	}
	return r
}

// ask asks who is at an address and keeps what it is told. certain: something
// is there, also if it does not answer.
func (s *search) ask(f Found, c link.Config, certain bool) (answered bool) {
	if !s.claim(f) {
		return false
	}
	c.Address, c.Via, c.Common = f.Address, f.Via, true
	answer, err := s.identity(c)
	switch {
	case err == nil:
		f.identify(answer)
		s.add(f)
		return true
	case certain:
		f.Note = "does not say who it is: " + plain(err)
		s.add(f)
	}
	s.Log.Debug("no answer", "address", f.Address, "error", err)
	return false
}

// identity is one question on a link of its own.
func (s *search) identity(c link.Config) (answer string, err error) {
	ctx, cancel := context.WithTimeout(s.ctx, answerTime)
	defer cancel()
	c.MaxMessage = mostIdentity
	l, err := s.Open(ctx, c)
	if err != nil {
		return "", err
	}
	defer func() { _ = l.Close() }() // the answer counts
	b, err := l.Query(ctx, []byte("*IDN?"))
	if err == nil && strings.TrimSpace(string(b)) == "" {
		err = errors.New("the answer is empty")
	}
	return string(b), err
}

// plain is an error without the address, which stands beside it.
func plain(err error) string {
	var e *link.Error
	if errors.As(err, &e) {
		return strings.TrimPrefix(e.Error(), e.Address+": ")
	}
	return err.Error()
}

// try is one thing that somebody named.
type try struct {
	text    string
	address string // a resource name, where it is one
	host    string // else
	port    int
}

func parseTries(list []string) (out []try, err error) {
	var all []error
	for _, text := range list {
		t, err := parseTry(text)
		all = append(all, err)
		out = append(out, t)
	}
	return out, errors.Join(all...)
}

func parseTry(text string) (try, error) {
	r, err := link.ParseResource(text)
	switch {
	case err == nil:
		return try{text: text, address: r.String()}, nil
	case strings.Contains(text, "::") && !strings.HasPrefix(text, "["):
		if net.ParseIP(text) == nil {
			return try{}, err
		}
	case strings.HasPrefix(text, "/"), strings.HasPrefix(strings.ToUpper(text), "COM") && len(text) < 7:
		r, err := link.ParseResource("ASRL" + text + "::INSTR")
		return try{text: text, address: r.String()}, err
	}
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		host = strings.Trim(text, "[]")
		return checked(try{text: text, host: host})
	}
	n, err := strconv.Atoi(port)
	if err != nil || n < 1 || n > 65535 {
		return try{}, fmt.Errorf("%q has no port between 1 and 65535", text)
	}
	return checked(try{text: text, host: host, port: n})
}

// checked makes sure that the host can stand in a resource name.
func checked(t try) (try, error) {
	if _, err := link.ParseResource(socket(t.host, 5025)); err != nil || t.host == "" {
		return try{}, fmt.Errorf("%q is no host, HOST:PORT, serial device or resource name", t.text)
	}
	return t, nil
}
