package main

import (
	"context"
	"fmt"
	"os"

	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// storeFlag adds --store; what tells what is kept there.
func storeFlag(c *cobra.Command, to *string, persistent bool, what string) {
	flags := c.Flags()
	if persistent {
		flags = c.PersistentFlags()
	}
	flags.StringVar(to, "store", "bandproof.db", "SQLite file, or URL of a PostgreSQL database (postgres://user@host/database), that keeps "+what)
}

// openStore opens a store to write to, and tells what happened to it.
func (t *terminal) openStore(ctx context.Context, place string) (*store.Store, error) {
	s, err := store.Open(ctx, place)
	if err != nil {
		return nil, err
	}
	for _, n := range s.Notes() {
		t.note("note: %s", n)
	}
	return s, nil
}

// isThere refuses the name of a store file that is not there.
func isThere(place string) error {
	if store.OnServer(place) {
		return nil // opening it will tell
	}
	if _, err := os.Stat(place); err != nil {
		return usage{fmt.Errorf("--store: %w", err)}
	}
	return nil
}

// withStore opens an existing store for a command. One that can't be written is
// opened to read.
func withStore(c *cobra.Command, place string, do func(*store.Store) error) error {
	return withOpened(c, place, store.OpenToRead, do)
}

func withOpened(c *cobra.Command, place string, open func(context.Context, string) (*store.Store, error), do func(*store.Store) error) error {
	if err := isThere(place); err != nil {
		return err
	}
	s, err := open(c.Context(), place)
	if err != nil {
		return err
	}
	defer func() { _ = s.Close() }()
	for _, n := range s.Notes() {
		c.PrintErrln(visible("note: " + n))
	}
	return do(s)
}
