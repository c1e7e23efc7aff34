package profile

import (
	"context"
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Route closes one position of a switch.
type Route struct {
	Commands []string           `toml:"commands" jsonschema_description:"Messages with {position} that open all others and close the one."`
	Map      map[string]string  `toml:"map" jsonschema_description:"From the bench file's name of a position to what {position} stands for. All positions that there are."`
	Wait     *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"How long the contacts need to settle."`
}

// Position asks a switch which position is closed.
type Position struct {
	Query  string            `toml:"query" jsonschema_description:"The question. With {position} it is asked for each position; without, for all at once. What is said to be closed is asked for once more."`
	Closed []string          `toml:"closed,omitempty" jsonschema_description:"Answers that stand for closed, where the question holds {position}."`
	Open   []string          `toml:"open,omitempty" jsonschema_description:"Answers that stand for open, where the question holds {position}."`
	Map    map[string]string `toml:"map,omitempty" jsonschema_description:"From answer to the name of the position, or none, where the question holds no {position}."`
}

// wordNone is what a position map leads to where no position is closed.
const wordNone = "none"

// router plays the role drivers.Switch.
type router struct{ *device }

// OpenSwitch begins the conversation with a switch. The caller has switched RF
// off at every source that may be connected to it. Recovery does not send the
// start commands again, because they may move it.
func (p *Profile) OpenSwitch(ctx context.Context, o Opening) (drivers.Switch, error) {
	d, err := p.openDevice(ctx, o, RoleSwitch)
	if err != nil {
		return nil, err
	}
	r := router{d}
	if p.file.Errors == nil {
		return struct{ drivers.Switch }{r}, nil
	}
	return struct {
		drivers.Switch
		drivers.ErrorQueue
	}{r, errorAbility{d, d.session}}, nil
}

// Route closes one position and opens all others.
func (r router) Route(ctx context.Context, position string) error {
	return r.act(ctx, fmt.Sprintf("route to position %s", quote(position)), func(ctx context.Context) error {
		to := r.file.Route
		word, ok := to.Map[position]
		if !ok {
			return fmt.Errorf("no such position; known are %s", strings.Join(sortedKeys(to.Map), ", "))
		}
		if err := r.commands(ctx, to.Commands, words{holdPosition: word}, clockOr(to.Wait, 0)); err != nil {
			return err
		}
		return r.complaints(ctx)
	})
}

// Position asks which position is closed, "" where none is. What is said to be
// closed is asked once more: on a line without a checksum one character may
// have become another, and a path is proven by this answer.
func (r router) Position(ctx context.Context) (position string, err error) {
	err = r.act(ctx, "ask for its position", func(ctx context.Context) (err error) {
		if r.file.Position.Map != nil {
			position, err = twice(ctx, r.device, r.file.Position.Query, r.file.Position.named)
			return err
		}
		position, err = r.closed(ctx)
		return err
	})
	return position, err
}

// closed asks for each position.
func (r router) closed(ctx context.Context) (string, error) {
	p := r.file.Position
	var list []string
	for _, name := range sortedKeys(r.file.Route.Map) {
		question, err := expand(p.Query, words{holdPosition: r.file.Route.Map[name]})
		if err != nil {
			return "", err
		}
		yes, err := asked(ctx, r.device, question, p.isClosed)
		if err != nil {
			return "", err
		}
		if yes {
			list = append(list, name)
		}
	}
	switch len(list) {
	case 0:
		return "", nil
	case 1:
		question, err := expand(p.Query, words{holdPosition: r.file.Route.Map[list[0]]})
		if err != nil {
			return "", err
		}
		again, err := asked(ctx, r.device, question, p.isClosed)
		if err == nil && !again {
			err = r.understand(question, fmt.Errorf("%w: position %s is said to be closed and then open", drivers.ErrUnreadable, list[0]))
		}
		if err != nil {
			return "", err
		}
		return list[0], nil
	}
	return "", fmt.Errorf("%w: positions %s are closed at once", drivers.ErrInstrument, strings.Join(list, " and "))
}

// twice asks a question two times and wants one answer.
func twice[T comparable](ctx context.Context, d *device, question string, read func(answer string) (T, error)) (got T, err error) {
	first, err := asked(ctx, d, question, read)
	if err != nil {
		return got, err
	}
	second, err := asked(ctx, d, question, read)
	if err == nil && first != second {
		err = d.understand(question, fmt.Errorf("%w: %v and then %v", drivers.ErrUnreadable, first, second))
	}
	if err != nil {
		return got, err
	}
	return second, nil
}

func (p *Position) isClosed(answer string) (bool, error) {
	switch {
	case isAnswer(answer, p.Closed):
		return true, nil
	case isAnswer(answer, p.Open):
		return false, nil
	}
	return false, fmt.Errorf("%w: %s; expected %s", drivers.ErrUnreadable, quote(answer), strings.Join(quoted(append(append([]string{}, p.Closed...), p.Open...)), " or "))
}

// named reads an answer that names the position.
func (p *Position) named(answer string) (string, error) {
	name, ok := meaning(answer, p.Map)
	switch {
	case !ok:
		return "", unknownAnswer(answer, p.Map)
	case name == wordNone:
		return "", nil
	}
	return name, nil
}
