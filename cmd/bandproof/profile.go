package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/procedures/quantity/tomlfile"

	"github.com/spf13/cobra"
)

// The JSON shapes of these commands.
const (
	profileCheckSchema = "bandproof profile check 1"
	profileListSchema  = "bandproof profiles 1"
)

func profileCommand(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "profile",
		Short: "profiles of instruments: check one, list and show the ready ones",
		Args:  cobra.NoArgs,
	}
	c.AddCommand(profileCheck(t), profileList(t), profileShow(t))
	return c
}

// checkedProfile is what a check found (schema "bandproof profile check 1").
type checkedProfile struct {
	Schema      string              `json:"schema"`
	File        string              `json:"file"`
	Name        string              `json:"name,omitempty"`
	Role        string              `json:"role,omitempty"`
	Description string              `json:"description,omitempty"`
	Passed      bool                `json:"passed"`
	Mistakes    []tomlfile.Mistake  `json:"mistakes,omitempty"` // it can't be read
	Examples    int                 `json:"examples"`           // that the profile carries
	Played      []profile.Played    `json:"played,omitempty"`
	Capability  *profile.Capability `json:"capability,omitempty"` // what a plan learns from it
}

func profileCheck(t *terminal) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check FILE|NAME",
		Short: "check a profile and play its examples through it",
		Long: `Check a profile, a file or a ready one, and play the conversation that it
carries in [[example]] through it, byte for byte, as if the instrument were
there. No link is opened. What differs is told with file, line, key and byte.`,
		Args: exactly(1, "a profile's file, or the name of a ready one"),
		RunE: func(c *cobra.Command, args []string) error {
			checked, err := checkProfile(c.Context(), args[0])
			if asJSON && checked != nil {
				if shown := t.json(checked); shown != nil {
					return shown
				}
			} else if checked != nil && checked.Name != "" {
				if err := printChecked(t, checked); err != nil {
					return err
				}
			}
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \""+profileCheckSchema+"\")")
	return c
}

// checkProfile reads and plays a profile. The error says what did not pass;
// nothing is returned beside it where there is no such file.
func checkProfile(ctx context.Context, name string) (*checkedProfile, error) {
	p, err := profiles.Open("", name)
	checked := &checkedProfile{Schema: profileCheckSchema, File: name}
	var mistakes *tomlfile.Mistakes
	switch {
	case errors.As(err, &mistakes):
		checked.File, checked.Mistakes = mistakes.File, mistakes.List
		return checked, err
	case err != nil:
		return nil, usage{err}
	}
	capability := p.Capability()
	checked.File, checked.Name, checked.Role, checked.Description = p.File(), p.Name(), p.Role(), p.Description()
	checked.Examples, checked.Capability = len(p.Examples()), &capability
	checked.Played, err = p.Replay(ctx)
	if errors.Is(err, profile.ErrNoExamples) {
		return checked, outcome{exitOpen, fmt.Errorf("%s: %w", p.File(), err)}
	}
	if err != nil {
		return checked, err
	}
	last := checked.Played[len(checked.Played)-1]
	if last.Problem != nil {
		return checked, usage{fmt.Errorf("%s:%v", last.File, last.Problem)}
	}
	checked.Passed = true
	return checked, nil
}

func printChecked(t *terminal, c *checkedProfile) error {
	t.print("%s: %s, a %s", c.File, c.Name, c.Role)
	var b bytes.Buffer
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, x := range c.Played {
		how := "passed"
		if x.Problem != nil {
			how = "FAILED"
		}
		result := ""
		if x.Gives != "" {
			result = "→ " + x.Gives
		}
		_, _ = fmt.Fprintf(w, "  %s\tline %d\t%s\t%s\n", how, x.Line, strings.TrimSpace(x.Do+" "+x.With), result) // errors come back from Flush
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(b.String()) {
		t.print("%s", strings.TrimRight(line, " \n"))
	}
	if n := c.Examples - len(c.Played); n > 0 {
		t.print("  not played: %d that come after", n)
	}
	if c.Passed {
		t.print("all %d examples pass", c.Examples)
	}
	return nil
}

// listedProfile is one line of the list (schema "bandproof profiles 1").
type listedProfile struct {
	Name        string `json:"name"`
	Role        string `json:"role"`
	Description string `json:"description"`
	Source      string `json:"source"`
}

func profileList(t *terminal) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "list",
		Short: "list the profiles that come with the program",
		Args:  exactly(0, "no arguments"),
		RunE: func(*cobra.Command, []string) error {
			list := struct {
				Schema   string          `json:"schema"`
				Profiles []listedProfile `json:"profiles"`
			}{Schema: profileListSchema}
			for _, name := range profiles.Names() {
				p, err := profiles.Get(name)
				if err != nil {
					return err
				}
				list.Profiles = append(list.Profiles, listedProfile{p.Name(), p.Role(), p.Description(), p.Source()})
			}
			if asJSON {
				return t.json(list)
			}
			for _, p := range list.Profiles {
				first, _, _ := strings.Cut(p.Description, ". ")
				t.print("%-20s %-12s %s", p.Name, p.Role, strings.TrimSuffix(first, "."))
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \""+profileListSchema+"\")")
	return c
}

func profileShow(t *terminal) *cobra.Command {
	return &cobra.Command{
		Use:   "show NAME",
		Short: "print a ready profile, to be read or to begin one of one's own",
		Args:  exactly(1, "the name of a ready profile"),
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := profiles.Text(args[0])
			if err != nil {
				return usage{err}
			}
			_, err = t.Write(text)
			return err
		},
	}
}
