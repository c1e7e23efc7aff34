package main

import (
	"context"
	"path/filepath"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// logo reads the picture that the bench file names, as it is when the run
// begins. One that can't be had is a warning: nothing else depends on it.
func (f *files) logo(t *terminal) *record.Picture {
	name := f.bench.Laboratory.Logo
	if name == "" {
		return nil
	}
	if !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(f.benchPath), name)
	}
	p, err := record.ReadLogo(name)
	if err != nil {
		t.note("warning: %v; data sheets go without it", err)
		return nil
	}
	return &p
}

// nameOf is what a record says of a picture.
func nameOf(p *record.Picture) *record.Logo {
	if p == nil {
		return nil
	}
	return &p.Logo
}

// keepLogo keeps the picture before the run begins, for its record and for a
// process that goes on with it.
func (w sweep) keepLogo(ctx context.Context) {
	if w.logo == nil {
		return
	}
	if err := w.store.AddLogo(ctx, *w.logo); err != nil {
		w.terminal.note("warning: the logo could not be kept: %v", err)
	}
}

// keptLogo is the picture of an interrupted run; its name alone where the bytes
// are lost.
func keptLogo(ctx context.Context, t *terminal, st *store.Store, l *record.Logo) *record.Picture {
	if l == nil {
		return nil
	}
	p, err := st.Logo(ctx, *l)
	if err != nil {
		t.note("warning: %v; the data sheet goes without it", err)
		return &record.Picture{Logo: *l}
	}
	return &p
}

// withLogo puts a picture on a sheet; one that does not fit is a warning.
func (t *terminal) withLogo(s *sheet.Sheet, p *record.Picture) *sheet.Sheet {
	if p == nil || len(p.Bytes) == 0 {
		return s
	}
	with, err := s.Logo(*p)
	if err != nil {
		t.note("warning: %v; the data sheet goes without it", err)
		return s
	}
	return with
}

func logoFlag(c *cobra.Command, file *string) {
	c.Flags().StringVar(file, "logo", "", "the picture that the record names, where it is not in the store")
}

// findLogo puts the logo on a sheet that its record names: from a file, which was
// asked for and must fit, else from the store.
func findLogo(c *cobra.Command, t *terminal, s *sheet.Sheet, storeFile, file string) (*sheet.Sheet, error) {
	if file != "" {
		p, err := record.ReadLogo(file)
		if err == nil {
			s, err = s.Logo(p)
		}
		if err != nil {
			return nil, usage{err}
		}
		return s, nil
	}
	l := s.NamedLogo()
	if l == nil {
		return s, nil
	}
	var p record.Picture
	err := store.ErrNoLogo
	if isThere(storeFile) == nil {
		err = withStore(c, storeFile, func(st *store.Store) (err error) {
			p, err = st.Logo(c.Context(), *l)
			return err
		})
	}
	if err != nil {
		t.note("warning: the data sheet goes without its logo %s: %v; --logo names the file", l.File, err)
		return s, nil
	}
	return t.withLogo(s, &p), nil
}
