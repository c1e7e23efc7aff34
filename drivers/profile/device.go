package profile

import (
	"context"
	"fmt"

	"bandproof/drivers"
)

// The roles beside counter and source.
const (
	RoleSwitch      = "switch"
	RolePowerMeter  = "power-meter"
	RoleThermometer = "thermometer"
)

// device is what switch, power meter and thermometer share: a conversation
// that is recovered before the next action where one went wrong.
type device struct {
	*session
	// again brings the instrument back to what it was set to, after recovery.
	again func(context.Context) error
}

// openDevice begins the conversation: identity, error queue, start commands.
func (p *Profile) openDevice(ctx context.Context, o Opening, role string) (*device, error) {
	s, err := p.session(o, role)
	if err != nil {
		return nil, err
	}
	d := &device{session: s, again: func(context.Context) error { return nil }}
	if err := s.do(ctx, "open", d.start); err != nil {
		return nil, s.abandon(err)
	}
	return d, nil
}

func (d *device) start(ctx context.Context) error {
	if err := d.meet(ctx); err != nil {
		return err
	}
	if err := d.forgetComplaints(ctx, "at opening"); err != nil {
		return err
	}
	return d.begins(ctx)
}

func (d *device) act(ctx context.Context, doing string, action func(context.Context) error) error {
	return d.do(ctx, doing, func(ctx context.Context) error {
		if d.lost {
			if err := d.recover(ctx); err != nil {
				return fmt.Errorf("recover first: %w", err)
			}
		}
		return action(ctx)
	})
}

func (d *device) recover(ctx context.Context) error {
	if _, err := d.regain(ctx); err != nil {
		return err
	}
	d.lost = true // until this is through
	if err := d.forgetComplaints(ctx, "after the link was cleared"); err != nil {
		return err
	}
	if err := d.again(ctx); err != nil {
		return err
	}
	d.lost = false
	return nil
}

// Identify asks the instrument who it is.
func (d *device) Identify(ctx context.Context) (id drivers.Identity, err error) {
	err = d.act(ctx, "identify", func(ctx context.Context) (err error) {
		id, err = d.identify(ctx)
		return err
	})
	return id, err
}

// Recover makes sure that no late answer can be taken for the next one's, and
// sets the instrument up as it was.
func (d *device) Recover(ctx context.Context) error { return d.do(ctx, "recover", d.recover) }

// Close ends the conversation.
func (d *device) Close() error {
	return d.close(context.Background(), func(context.Context) error { return nil })
}

// asked sends a question within its own time and reads the answer.
func asked[T any](ctx context.Context, d *device, question string, read func(answer string) (T, error)) (got T, err error) {
	answer, err := d.ask(ctx, question, d.timeout())
	if err != nil {
		return got, err
	}
	got, err = read(answer)
	return got, d.understand(question, err)
}
