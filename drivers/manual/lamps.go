package manual

import (
	"context"
	"strings"

	"bandproof/drivers"
)

// Abilities that a source has where a lamp shows it.
type (
	lockLamp      struct{ s *source }
	referenceLamp struct{ s *source }
)

// Locked asks for the lamp that shows whether the source is locked.
func (l lockLamp) Locked(ctx context.Context) (bool, error) {
	var lit bool
	err := l.s.act(ctx, "look whether it is locked", func(ctx context.Context) (err error) {
		lit, err = l.s.yes(ctx, "does \""+l.s.Panel.LockLamp+"\" show that it is locked?")
		return err
	})
	return lit, err
}

// Reference asks for the lamp that shows the external reference.
func (r referenceLamp) Reference(ctx context.Context) (string, error) {
	got := "own"
	err := r.s.act(ctx, "look which reference it uses", func(ctx context.Context) error {
		external, err := r.s.yes(ctx, "does \""+r.s.Panel.ReferenceLamp+"\" show that it runs from its external reference?")
		if external {
			got = "external"
		}
		return err
	})
	return got, err
}

func (h *hand) yes(ctx context.Context, what string) (bool, error) {
	q := Question{Do: what, Answer: "yes or no"}
	for {
		text, err := h.ask(ctx, q)
		if err != nil {
			return false, err
		}
		switch strings.ToLower(text) {
		case "y", "yes":
			return true, nil
		case "n", "no":
			return false, nil
		}
		q.Wrong = "please answer yes or no"
	}
}

// withLamps gives the source the abilities that its panel has lamps for.
func (s *source) withLamps() drivers.Source {
	lock, reference := s.Panel.LockLamp != "", s.Panel.ReferenceLamp != ""
	switch {
	case lock && reference:
		return struct {
			*source
			lockLamp
			referenceLamp
		}{s, lockLamp{s}, referenceLamp{s}}
	case lock:
		return struct {
			*source
			lockLamp
		}{s, lockLamp{s}}
	case reference:
		return struct {
			*source
			referenceLamp
		}{s, referenceLamp{s}}
	}
	return s
}
