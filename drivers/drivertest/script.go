package drivertest

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bandproof/drivers/link"
)

// Act is what is done with a link in one step.
type Act string

const (
	Write   Act = "write"
	Read    Act = "read"
	Clear   Act = "clear"
	Trigger Act = "trigger"
	Status  Act = "status"
	Remote  Act = "remote"
	Local   Act = "local"
)

// bareActs are those without bytes.
var bareActs = []Act{Clear, Trigger, Remote, Local}

// Step is one act on a link and how it ends.
type Step struct {
	Act   Act
	Bytes []byte // Write: the message; Read: the answer, without terminator; Status: one byte
	Err   error  // nil, or link.ErrTimeout, ErrCancelled, ErrDisconnected, ErrProtocol or ErrBusy
}

// Script is a conversation over a link, in the order in which it takes place.
//
// As text it has one step a line; strings are quoted as in Go:
//
//	# a comment, or an empty line
//	> "*IDN?"                    a message is written
//	< "MAKER,MODEL,1,2"          the answer is read
//	> "*RST" ! disconnected      the message can't be written
//	< ! timeout                  no answer comes
//	clear                        the link is cleared
//	clear ! disconnected         and that fails
//	trigger                      so for remote and local
//	status 80                    the status byte is read, in decimal
type Script []Step

// failures by their names in a script.
var failures = []struct {
	name string
	kind error
}{
	{"timeout", link.ErrTimeout}, {"cancelled", link.ErrCancelled}, {"disconnected", link.ErrDisconnected},
	{"protocol", link.ErrProtocol}, {"busy", link.ErrBusy},
}

// Ask is the two steps of a question that is answered.
func Ask(question, answer string) Script {
	return Script{{Act: Write, Bytes: []byte(question)}, {Act: Read, Bytes: []byte(answer)}}
}

// Tell is the step of a command.
func Tell(command string) Script { return Script{{Act: Write, Bytes: []byte(command)}} }

// String is the script as text, which ParseScript reads back.
func (s Script) String() string {
	var b strings.Builder
	for _, step := range s {
		switch step.Act {
		case Write:
			b.WriteString("> " + strconv.QuoteToASCII(string(step.Bytes)))
		case Read:
			b.WriteString("<")
			if step.Err == nil {
				b.WriteString(" " + strconv.QuoteToASCII(string(step.Bytes)))
			}
		case Status:
			b.WriteString(string(step.Act))
			if step.Err == nil {
				b.WriteString(" " + strconv.Itoa(int(step.Bytes[0])))
			}
		default:
			b.WriteString(string(step.Act))
		}
		if step.Err != nil {
			b.WriteString(" ! " + failureName(step.Err))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func failureName(err error) string {
	kind := kindOf(err)
	for _, f := range failures {
		if f.kind == kind {
			return f.name
		}
	}
	return "protocol" // kindOf gives no other
}

// ParseScript reads a script. An error names the line.
func ParseScript(text string) (Script, error) {
	var s Script
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		step, err := parseStep(line)
		if err != nil {
			return nil, fmt.Errorf("script line %d: %w", i+1, err)
		}
		s = append(s, step)
	}
	return s, nil
}

func parseStep(line string) (Step, error) {
	step, rest, ok := parseAct(line)
	if !ok {
		return Step{}, fmt.Errorf("%q begins with none of >, <, clear, trigger, status, remote, local, #", line)
	}
	if quoted, err := strconv.QuotedPrefix(rest); err == nil && (step.Act == Write || step.Act == Read) {
		text, _ := strconv.Unquote(quoted) // a quoted prefix can be unquoted
		step.Bytes = []byte(text)
		rest = strings.TrimSpace(rest[len(quoted):])
	}
	if word, after, _ := strings.Cut(rest, " "); step.Act == Status && word != "" && word != "!" {
		status, err := strconv.ParseUint(word, 10, 8)
		if err != nil {
			return Step{}, fmt.Errorf("%q is no status byte; expected 0 to 255", word)
		}
		step.Bytes, rest = []byte{byte(status)}, strings.TrimSpace(after)
	}
	if rest != "" {
		name, failed := strings.CutPrefix(rest, "!")
		if !failed {
			return Step{}, fmt.Errorf("%q: expected a string in quotes, or ! and a kind of error", rest)
		}
		if step.Err = failure(strings.TrimSpace(name)); step.Err == nil {
			return Step{}, fmt.Errorf("%q is no kind of error; expected timeout, cancelled, disconnected, protocol or busy", name)
		}
	}
	hasBytes := step.Bytes != nil
	switch {
	case step.Act == Write && !hasBytes:
		return Step{}, fmt.Errorf("%q: the message is missing", line)
	case (step.Act == Read || step.Act == Status) && hasBytes == (step.Err != nil):
		return Step{}, fmt.Errorf("%q: expected either an answer or an error", line)
	}
	return step, nil
}

// parseAct reads the word or sign that a step begins with.
func parseAct(line string) (step Step, rest string, ok bool) {
	for sign, act := range map[string]Act{">": Write, "<": Read} {
		if rest, ok := strings.CutPrefix(line, sign); ok {
			return Step{Act: act}, strings.TrimSpace(rest), true
		}
	}
	word, rest, _ := strings.Cut(line, " ")
	if act := Act(word); act == Status || slices.Contains(bareActs, act) {
		return Step{Act: act}, strings.TrimSpace(rest), true
	}
	return Step{}, "", false
}

func failure(name string) error {
	for _, f := range failures {
		if f.name == name {
			return f.kind
		}
	}
	return nil
}

// kindOf is the kind of failure that a script can tell; what it can't is
// ErrProtocol.
func kindOf(err error) error {
	var failed *link.Error
	if errors.As(err, &failed) {
		err = failed.Kind // a cause may be of another kind
	}
	for _, f := range failures {
		if errors.Is(err, f.kind) {
			return f.kind
		}
	}
	return link.ErrProtocol
}
