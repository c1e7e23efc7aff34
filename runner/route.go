package runner

import (
	"context"
	"errors"
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// Route is where a switch stood when a point was taken, as it read back.
type Route struct {
	Switch   string `json:"switch"`
	Position string `json:"position"`
}

// notRouted is why a path that runs over a switch could not be taken.
type notRouted struct {
	why  Reason
	note string
}

func (e *notRouted) Error() string { return e.note }

// routeTries is how often a switch is told before it counts as stuck.
const routeTries = 2

// route has the switch of a path close its position, with RF off at every
// source, and reads back where it stands.
func (r *run) route(ctx context.Context, path procedures.Path) error {
	s := r.Switches[path.Switch]
	if s == nil {
		return fmt.Errorf("%w: switch %s of path %s is not open", ErrBench, path.Switch, path.Name)
	}
	stands := ""
	for range routeTries {
		err := r.retryLink(ctx, s, func() (err error) {
			if err = s.Route(ctx, path.Position); err == nil {
				stands, err = s.Position(ctx)
			}
			return err
		})
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			return &notRouted{decision.LinkFailed, err.Error()}
		case stands == path.Position:
			r.event(ctx, fmt.Sprintf("switch %s routes path %s: position %s, read back", path.Switch, path.Name, stands))
			return r.interrupt
		}
	}
	note := fmt.Sprintf("switch %s reads back %s, told position %s", path.Switch, positionName(stands), path.Position)
	r.warn(ctx, note+"; the points of path "+path.Name+" can't be judged")
	return &notRouted{decision.PathNotProven, note}
}

func positionName(name string) string {
	if name == "" {
		return "no position"
	}
	return "position " + name
}

// routed reads back where the switch of a place stands; proven where there is
// one and it stands where it should.
func (r *run) routed(ctx context.Context, at *place) (proven bool, stands string, err error) {
	if at.path.Switch == "" {
		return false, "", nil
	}
	s := r.Switches[at.path.Switch]
	err = r.retryLink(ctx, s, func() (err error) { stands, err = s.Position(ctx); return err })
	return err == nil && stands == at.path.Position, stands, err
}

// checkRoute makes sure, after the points of a path, that the switch has not
// moved meanwhile; else they are void.
func (r *run) checkRoute(ctx context.Context, at *place) error {
	proven, stands, err := r.routed(ctx, at)
	switch {
	case at.path.Switch == "" || proven:
		return nil
	case err != nil:
		return fmt.Errorf("%w: switch %s can't be asked where it stands after the points of path %s: %w", ErrBench, at.path.Switch, at.path.Name, err)
	}
	r.warn(ctx, fmt.Sprintf("switch %s reads back %s after the points of path %s, which need position %s; they are void", at.path.Switch, positionName(stands), at.path.Name, at.path.Position))
	return r.void(ctx, at, decision.PathNotProven)
}

// proveByAids has power meter, or switch and monitor, show that the signal
// arrives before "no count" is booked on the unit. sure tells that what they
// say holds, so that nobody else need be asked.
func (r *run) proveByAids(ctx context.Context, at *place, res *PointResult) (proven, sure bool, err error) {
	p := res.Point
	if p.Metered {
		bench, err := r.arrive(ctx, at, p, res)
		switch {
		case err != nil:
			return false, false, err
		case bench != "":
			return false, true, nil
		}
		res.Notes = append(res.Notes, fmt.Sprintf("path proven: power meter %s finds %s at the input", res.Level.Meter, res.Level.Connector))
		return true, true, nil
	}
	switched, stands, err := r.routed(ctx, at)
	if err != nil || at.path.Switch == "" {
		return false, false, err
	}
	if !switched {
		res.Notes = append(res.Notes, fmt.Sprintf("switch %s reads back %s, not position %s", at.path.Switch, positionName(stands), at.path.Position))
		return false, true, nil
	}
	// A switch shows the way and no signal: that one leaves the source is shown
	// by the monitor, or by a point of this source that was counted.
	seen := ""
	switch {
	case p.Watched && len(res.Monitor) > 0 && res.Monitor[len(res.Monitor)-1].Good:
		seen = "the monitor counts the source"
	case r.alive[p.Source]:
		seen = "the source was counted at another point of this run"
	default:
		return false, false, nil
	}
	res.Notes = append(res.Notes, fmt.Sprintf("path proven: switch %s reads back position %s, and %s; contacts and cable behind it are taken as good", at.path.Switch, stands, seen))
	return true, true, nil
}

// asNotRouted tells whether an error says that a path could not be routed.
func asNotRouted(err error) (*notRouted, bool) {
	var n *notRouted
	ok := errors.As(err, &n)
	return n, ok
}
