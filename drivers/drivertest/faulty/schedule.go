// Package faulty stands between a driver and a virtual instrument and spoils
// what goes over the wire by a schedule: it delays, drops, splits, joins,
// duplicates and corrupts bytes, and cuts the connection, at any byte and in
// either direction. It is for tests; nothing here talks to a real instrument.
//
// A [Schedule] is a plain value, drawn from a seed and printed on one line, so
// that a failure can be played again. A [Line] carries bytes by a schedule;
// [TCP] and [Serial] put a line between two ends that are opened as usual.
package faulty

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Way is the direction that bytes go in.
type Way int

// The two ways.
const (
	ToInstrument Way = iota
	ToDriver
)

var ways = []string{"out", "in"}

// Kind is what is done to bytes.
type Kind int

// The kinds of fault. Each acts in front of byte At.
const (
	// Delay holds everything from there on back for Hold; order is kept.
	Delay Kind = iota
	// Drop loses Count bytes.
	Drop
	// Split delivers what came before on its own, and pauses for Hold.
	Split
	// Join holds back what comes until more has come, at most for Hold, and
	// delivers both in one piece.
	Join
	// Duplicate sends the last Count bytes again; 0: the whole of the last
	// piece.
	Duplicate
	// Corrupt changes Count bytes: each is combined with Mask by exclusive or.
	Corrupt
	// Cut ends the connection; what is under way is lost. A serial port stays
	// away for Hold.
	Cut
	kinds
)

var kindNames = []string{"delay", "drop", "split", "join", "duplicate", "corrupt", "cut"}

func (k Kind) String() string { return kindNames[k] }

// Fault is one thing that goes wrong, once.
type Fault struct {
	Way   Way
	Kind  Kind
	At    int  // bytes that went this way before it acts, over all connections
	Early bool // acts as soon as the byte before has passed, not with the next one
	Count int
	Mask  byte
	Hold  time.Duration
}

// String writes a fault as ParseFault reads it: "in@120+ drop 3".
func (f Fault) String() string {
	text := fmt.Sprintf("%s@%d", ways[f.Way], f.At)
	if f.Early {
		text += "+"
	}
	text += " " + f.Kind.String()
	if f.Count > 0 {
		text += " " + strconv.Itoa(f.Count)
	}
	if f.Mask > 0 {
		text += fmt.Sprintf(" ^%02x", f.Mask)
	}
	if f.Hold > 0 {
		text += " " + f.Hold.String()
	}
	return text
}

// parseFault reads what String has written.
func parseFault(text string) (Fault, error) {
	bad := func(part string) (Fault, error) {
		return Fault{}, fmt.Errorf("fault %q: %q is not understood; expected such as \"in@120+ corrupt 1 ^04 20ms\"", text, part)
	}
	words := strings.Fields(text)
	if len(words) < 2 {
		return bad(text)
	}
	var f Fault
	way, at, _ := strings.Cut(words[0], "@")
	at, f.Early = strings.CutSuffix(at, "+")
	w, n := slices.Index(ways, way), slices.Index(kindNames, words[1])
	offset, err := strconv.Atoi(at)
	if w < 0 || n < 0 || err != nil || offset < 0 {
		return bad(words[0] + " " + words[1])
	}
	f.Way, f.Kind, f.At = Way(w), Kind(n), offset
	for _, word := range words[2:] {
		if mask, ok := strings.CutPrefix(word, "^"); ok {
			m, err := strconv.ParseUint(mask, 16, 8)
			if err != nil {
				return bad(word)
			}
			f.Mask = byte(m)
		} else if n, err := strconv.Atoi(word); err == nil && n >= 0 {
			f.Count = n
		} else if d, err := time.ParseDuration(word); err == nil && d >= 0 {
			f.Hold = d
		} else {
			return bad(word)
		}
	}
	return f, nil
}

// Schedule is all that goes wrong in one conversation.
type Schedule struct {
	Seed   uint64 // that it was drawn from
	Faults []Fault
}

// String writes a schedule on one line, as Parse reads it.
func (s Schedule) String() string {
	parts := make([]string, len(s.Faults))
	for i, f := range s.Faults {
		parts[i] = f.String()
	}
	return fmt.Sprintf("seed %d: %s", s.Seed, strings.Join(parts, ", "))
}

// Parse reads what String has written.
func Parse(text string) (Schedule, error) {
	var s Schedule
	head, rest, ok := strings.Cut(text, ": ")
	seed, err := strconv.ParseUint(strings.TrimPrefix(head, "seed "), 10, 64)
	if !ok || err != nil {
		return s, fmt.Errorf("schedule %q does not begin with \"seed NUMBER: \"", text)
	}
	s.Seed = seed
	for part := range strings.SplitSeq(rest, ", ") {
		if part == "" {
			continue
		}
		f, err := parseFault(part)
		if err != nil {
			return s, err
		}
		s.Faults = append(s.Faults, f)
	}
	return s, nil
}

// Extent is how large a conversation is: within it faults are drawn.
type Extent struct {
	Out, In  int           // bytes to the instrument and to the driver
	Patience time.Duration // how long the driver waits for an answer
}

// mostFaults is how many faults one schedule has at most.
const mostFaults = 6

// Draw makes the schedule of a seed. The same seed and extent give the same
// schedule.
func Draw(seed uint64, e Extent) Schedule {
	r := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	s := Schedule{Seed: seed}
	for range 1 + r.IntN(mostFaults) {
		s.Faults = append(s.Faults, draw(r, e))
	}
	slices.SortStableFunc(s.Faults, func(a, b Fault) int { return a.At - b.At })
	return s
}

func draw(r *rand.Rand, e Extent) Fault {
	f := Fault{Way: Way(r.IntN(2)), Kind: Kind(r.IntN(int(kinds))), Early: r.IntN(3) == 0}
	f.At = r.IntN([]int{e.Out, e.In}[f.Way])
	hold := func(most float64) time.Duration {
		return (time.Duration(r.Float64() * most * float64(e.Patience))).Round(100 * time.Microsecond)
	}
	switch f.Kind {
	case Delay:
		f.Hold = hold([]float64{0.2, 1, 2.5}[r.IntN(3)])
	case Split:
		f.Hold = hold(0.2)
	case Join:
		f.Hold = hold(1.5)
	case Drop:
		f.Count = 1 + r.IntN([]int{1, 8, 60, 2000}[r.IntN(4)])
	case Duplicate:
		f.Count = r.IntN([]int{1, 1, 4, 60}[r.IntN(4)])
	case Corrupt:
		f.Count = 1 + r.IntN([]int{1, 1, 8}[r.IntN(3)])
		f.Mask = []byte{1 << r.IntN(8), 1 << r.IntN(4), byte(1 + r.IntN(255))}[r.IntN(3)]
	case Cut:
		f.Hold = hold(1)
	}
	return f
}
