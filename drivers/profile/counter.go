package profile

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/procedures/quantity"
)

// counter plays the role drivers.Counter.
type counter struct {
	*session
	input string             // what {input} stands for; "" before the first selection
	asked *quantity.Duration // gate as it was asked for; nil before the first SetGate
	gate  quantity.Duration  // gate in force
	// opened: what was under way before this conversation is over.
	opened bool
	most   quantity.Duration // longest gate ever asked for: its reading may still be under way
	had    bool              // a reading has come since the counter was reset
}

// SelectInput routes the measurement to an input of the profile's map, or to
// the input as named where the profile has no map.
func (c *counter) SelectInput(ctx context.Context, input string) error {
	return c.act(ctx, fmt.Sprintf("select input %s", quote(input)), func(ctx context.Context) error {
		in := c.file.Input
		if in == nil {
			return fmt.Errorf("profile %q has no way to select an input; where the counter has one only, name it in input.map", c.file.Name)
		}
		word, err := in.word(input)
		if err != nil {
			return err
		}
		if in.ByHand && c.input != word {
			if err := c.person(ctx, fmt.Sprintf("select input %s", input)); err != nil {
				return err
			}
		}
		if err := c.selectInput(ctx, word); err != nil {
			return err
		}
		c.input = word
		return nil
	})
}

// word is what {input} stands for.
func (in *Input) word(input string) (string, error) {
	if in.Map == nil {
		if strings.TrimSpace(input) == "" || strings.ContainsFunc(input, isControl) {
			return "", fmt.Errorf("%s is no name of an input", quote(input))
		}
		return input, nil
	}
	word, ok := in.Map[input]
	if !ok {
		return "", fmt.Errorf("no such input; known are %s", strings.Join(sortedKeys(in.Map), ", "))
	}
	return word, nil
}

func (c *counter) selectInput(ctx context.Context, word string) error {
	in := c.file.Input
	if len(in.Commands) == 0 {
		return nil // there is only this one, or a person selects it
	}
	w := words{holdInput: word}
	if err := c.commands(ctx, in.Commands, w, clockOr(in.Wait, 0)); err != nil {
		return err
	}
	if err := c.complaints(ctx); err != nil || in.Query == "" {
		return err
	}
	right := make([]string, len(in.Expect))
	for i, template := range in.Expect {
		var err error
		if right[i], err = expand(template, w); err != nil {
			return err
		}
	}
	return c.confirm(ctx, in.Query, c.timeout(), right, drivers.ErrUnreadable)
}

// SetGate asks for a gate time and returns the one in force.
func (c *counter) SetGate(ctx context.Context, gate quantity.Duration) (quantity.Duration, error) {
	var got quantity.Duration
	err := c.act(ctx, fmt.Sprintf("set the gate to %s", gate), func(ctx context.Context) (err error) {
		got, err = c.setGate(ctx, gate)
		return err
	})
	return got, err
}

func (c *counter) setGate(ctx context.Context, gate quantity.Duration) (quantity.Duration, error) {
	w, err := c.gateWords(gate)
	if err != nil {
		return quantity.Duration{}, err
	}
	if c.file.Gate.ByHand && (c.asked == nil || c.asked.Cmp(gate) != 0) {
		if err := c.person(ctx, fmt.Sprintf("set the gate time to %s", gate)); err != nil {
			return quantity.Duration{}, err
		}
	}
	c.asked = nil // unknown until this is through
	got, err := c.tryGate(ctx, gate, w)
	if err != nil {
		return quantity.Duration{}, err
	}
	if got.Cmp(gate) != 0 { // a counter that has another gate says so each time; a message that was garbled does not
		once := got
		if got, err = c.tryGate(ctx, gate, w); err != nil {
			return quantity.Duration{}, err
		}
		if got.Cmp(once) != 0 && got.Cmp(gate) != 0 {
			return quantity.Duration{}, c.understand(c.file.Gate.Query,
				fmt.Errorf("%w: the gate reads %s and then %s; is the line disturbed?", drivers.ErrUnreadable, once, got))
		}
	}
	c.asked, c.gate = &gate, got
	if got.Cmp(c.most) > 0 {
		c.most = got
	}
	return got, nil
}

// tryGate sends the gate time and returns the one in force.
func (c *counter) tryGate(ctx context.Context, gate quantity.Duration, w words) (quantity.Duration, error) {
	g := c.file.Gate
	if err := c.commands(ctx, g.Commands, w, clockOr(g.Wait, 0)); err != nil {
		return quantity.Duration{}, err
	}
	if len(g.Commands) > 0 {
		if err := c.complaints(ctx); err != nil {
			return quantity.Duration{}, err
		}
	}
	return c.gateInForce(ctx, gate)
}

// words are those that every template of a counter may hold.
func (c *counter) words(gate quantity.Duration) words {
	w := words{holdSeconds: gate.Plain(), holdMilliseconds: gate.In("ms")}
	if c.input != "" {
		w[holdInput] = c.input
	}
	return w
}

// gateWords checks the gate time against those the counter has.
func (c *counter) gateWords(gate quantity.Duration) (words, error) {
	if gate.Sign() <= 0 || gate.Cmp(longest) > 0 {
		return nil, fmt.Errorf("%s is no gate time; expected above zero and at most %s", gate, longest)
	}
	w := c.words(gate)
	known := make([]string, 0, len(c.profile.gates))
	for _, g := range c.profile.gates {
		if g.gate.Cmp(gate) == 0 {
			if g.code != "" {
				w[holdCode] = g.code
			}
			return w, nil
		}
		known = append(known, g.gate.String())
	}
	if len(known) > 0 {
		return nil, fmt.Errorf("the counter has no such gate time; it has %s", strings.Join(known, ", "))
	}
	return w, nil
}

// gateInForce reads the gate time back where the counter can tell it.
func (c *counter) gateInForce(ctx context.Context, asked quantity.Duration) (quantity.Duration, error) {
	g := c.file.Gate
	if g.Query == "" {
		return asked, nil
	}
	question, err := expand(g.Query, c.words(asked))
	if err != nil {
		return quantity.Duration{}, err
	}
	answer, err := c.ask(ctx, question, c.timeout())
	if err != nil {
		return quantity.Duration{}, err
	}
	got, err := g.inForce(answer, c.profile.gates)
	return got, c.understand(question, err)
}

// inForce reads an answer as a gate time: a code where there are codes.
func (g *Gate) inForce(answer string, gates []coded) (quantity.Duration, error) {
	if g.Codes == nil && g.Resolutions == nil {
		got, err := positiveSetting[quantity.Second](g.Reply, answer)
		if err == nil && got.Cmp(longest) > 0 {
			err = fmt.Errorf("%w: %s is longer than any gate", drivers.ErrUnreadable, quote(answer))
		}
		return got, err
	}
	code := strings.TrimSpace(answer)
	if g.Reply != nil {
		stripped, err := g.Reply.strip(code)
		if err != nil {
			return quantity.Duration{}, err
		}
		code = stripped
	}
	for _, known := range gates {
		if sameAnswer(code, known.code) {
			return known.gate, nil
		}
	}
	return quantity.Duration{}, fmt.Errorf("%w: %s is the code of no gate time", drivers.ErrUnreadable, quote(answer))
}

// Read takes one measurement and waits for it.
func (c *counter) Read(ctx context.Context) (drivers.Reading, error) {
	var got drivers.Reading
	err := c.act(ctx, "read", func(ctx context.Context) (err error) {
		got, err = c.read(ctx)
		return err
	})
	return got, err
}

func (c *counter) read(ctx context.Context) (drivers.Reading, error) {
	r := c.file.Read
	if c.asked == nil {
		return drivers.Reading{}, errors.New("no gate time is set since the counter was opened or tested itself; set one first")
	}
	w := c.words(c.gate)
	question, err := expand(r.Query, w)
	if err != nil {
		return drivers.Reading{}, err
	}
	for round := 1; ; round++ {
		answer, err := c.take(ctx, question, w)
		if !isSilence(err) {
			return c.accept(ctx, question, answer, err)
		}
		at := c.clock.Now()
		proven, err := c.neverEnds(ctx, err)
		if err != nil {
			return drivers.Reading{}, err
		}
		if proven || round == 2 {
			return drivers.Reading{Mark: drivers.NoReply, At: at}, nil
		}
	}
}

// accept makes a reading of an answer.
func (c *counter) accept(ctx context.Context, question, answer string, err error) (drivers.Reading, error) {
	if err != nil {
		return drivers.Reading{}, err
	}
	f, mark, err := c.file.Read.reading(answer)
	if err != nil {
		return drivers.Reading{}, c.understand(question, err)
	}
	if err := c.again(ctx, answer); err != nil {
		return drivers.Reading{}, err
	}
	c.had = true
	return drivers.Reading{Text: printable(answer), Frequency: f, Mark: mark, At: c.clock.Now()}, nil
}

// again asks for the reading once more where the counter can give it twice. A
// link without a checksum shows only so that a character was lost or changed.
func (c *counter) again(ctx context.Context, first string) error {
	question := c.file.Read.Again
	if question == "" {
		return nil
	}
	second, err := c.ask(ctx, question, c.timeout())
	if err != nil {
		return err
	}
	if second != first {
		return c.understand(question, fmt.Errorf("%w: the reading came as %s and once more as %s; is the line disturbed, or its speed wrong?",
			drivers.ErrUnreadable, quote(first), quote(second)))
	}
	return nil
}

// isSilence tells whether an answer did not come in time, apart from a message
// that could not even be sent.
func isSilence(err error) bool {
	if errors.Is(err, errNotReady) {
		return true
	}
	var e *link.Error
	if errors.As(err, &e) && e.Op != "read" {
		return false
	}
	return errors.Is(err, link.ErrTimeout)
}

// readingTime is how long a reading may take: the gate with what it may run
// longer, and the margin.
func (c *counter) readingTime(gate quantity.Duration) time.Duration {
	r := c.file.Read
	safety := or(r.Safety, quantity.Of[quantity.One](1, -1)).Float()
	return clock(gate.Add(r.Margin)) + time.Duration(float64(clock(gate))*safety)
}

// longestReading is how long any reading may take that is still under way: by
// this conversation, or at opening by one before it, with any gate that the
// counter has, unless it was told to stop.
func (c *counter) longestReading() time.Duration {
	most := c.most
	if c.opened || c.file.Abort != nil {
		return c.readingTime(most)
	}
	if n := len(c.profile.gates); n > 0 && c.profile.gates[n-1].gate.Cmp(most) > 0 {
		most = c.profile.gates[n-1].gate
	}
	return c.readingTime(most)
}

// neverEnds is called when a measurement was not answered, and leaves the
// counter set up as it was. It is an error if the link is to blame: the counter
// does not answer to its name either, or it did not understand what reached it,
// or it has a reading, so that question or answer was lost on the way. proven:
// the counter has begun to measure and has not ended. Where that can't be told
// the question has to be asked once more.
func (c *counter) neverEnds(ctx context.Context, cause error) (proven bool, err error) {
	if err := c.answersAgain(ctx, cause); err != nil {
		return false, err
	}
	c.lost = true // until this is through
	entries, err := c.oldComplaints(ctx, "after a measurement without reply")
	if err != nil {
		return false, errors.Join(cause, err)
	}
	if garbled := notUnderstood(entries); len(garbled) > 0 {
		return false, fmt.Errorf("%w; the counter did not understand what reached it: %s; is the line disturbed, or the profile's question wrong?",
			cause, strings.Join(garbled, "; "))
	}
	if proven, err = c.hasNone(ctx, cause); err != nil {
		return false, err
	}
	if err := c.restore(ctx); err != nil {
		return false, fmt.Errorf("no reply to the measurement, and afterwards: %w", err)
	}
	return proven, nil
}

// answersAgain regains a counter that has kept silent, if it answers at all.
func (c *counter) answersAgain(ctx context.Context, cause error) error {
	answers, err := c.regain(ctx)
	switch {
	case err != nil:
		return errors.Join(cause, fmt.Errorf("and afterwards: %w", err))
	case !answers:
		return fmt.Errorf("%w; and the profile has no question that would show that the counter still answers", cause)
	}
	return nil
}

// hasNone asks for the reading that did not come, where the counter can give
// its last one. It has none once it has begun to measure, and complains; had it
// never begun, it would still have the reading before.
func (c *counter) hasNone(ctx context.Context, cause error) (proven bool, err error) {
	question, before := c.file.Read.Again, c.had
	if question == "" {
		return false, nil
	}
	answer, err := c.ask(ctx, question, c.timeout())
	if isSilence(err) {
		if err := c.answersAgain(ctx, cause); err != nil {
			return false, err
		}
		c.lost = true
		entries, err := c.oldComplaints(ctx, "after asking for a reading that there is not")
		// Its complaint shows that this question has reached it, unless garbled.
		return before && len(entries) > 0 && len(notUnderstood(entries)) == 0, err
	}
	if err != nil {
		return false, errors.Join(cause, err)
	}
	if _, mark, err := c.file.Read.reading(answer); err == nil && mark == drivers.NoSignal {
		return before, nil
	}
	return false, fmt.Errorf("%w; asked once more the counter says %s, so question or answer was lost on the way", cause, quote(answer))
}

// notUnderstood picks the command errors of an error queue, -100 to -199
// (SCPI-1999 volume 2, SYSTem:ERRor, from memory).
func notUnderstood(entries []string) (garbled []string) {
	for _, entry := range entries {
		if code, _, err := errorEntry(entry); err == nil && code <= -100 && code > -200 {
			garbled = append(garbled, entry)
		}
	}
	return garbled
}

// Discard is the number of readings to throw away after a change.
func (c *counter) Discard() int { return c.profile.discard() }
