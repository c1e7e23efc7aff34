package main

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"os"

	"bandproof/reports/record"

	"github.com/spf13/cobra"
)

// keyFlags say what is done with the signing key.
type keyFlags struct {
	file, public             string
	isNew, set, remove, json bool
}

func keyCommand(t *terminal) *cobra.Command {
	var f keyFlags
	c := &cobra.Command{
		Use:   "key",
		Short: "show the key that signs records, write its public part, make one, set its passphrase",
		Long: `Show the file and the fingerprint of the key that signs records; data sheets
print that fingerprint. The key is made on first use, in a file that only you
can read. With its public part (--public) anybody can check records, and nobody
can sign any.

A key that is lost can't be made again: records that it signed can still be
proven, since their seals hold its public part and data sheets its fingerprint.
Make a new one (--new) and tell customers its fingerprint. Do the same when
somebody may have copied the key and knows its passphrase; heads of the chain on
data sheets show what was sealed before.`,
		Args: exactly(0, "no arguments"),
		RunE: func(*cobra.Command, []string) error {
			file, err := keyFile(f.file)
			if err != nil {
				return err
			}
			if f.isNew {
				err = t.makeKey(file)
			} else {
				err = t.useKey(file, f)
			}
			if err != nil {
				return usage{err}
			}
			return nil
		},
	}
	c.Flags().StringVar(&f.file, "key", "", "file of the key; $"+keyVariable+", or one in your configuration folder, unless stated")
	c.Flags().StringVar(&f.public, "public", "", "write the public key to this file (PEM)")
	c.Flags().BoolVar(&f.isNew, "new", false, "make a key; one that is there is never replaced")
	c.Flags().BoolVar(&f.set, "set-passphrase", false, "give the key a passphrase, or another one: asked at the terminal, else $"+newPassphraseVariable)
	c.Flags().BoolVar(&f.remove, "remove-passphrase", false, "keep the key without a passphrase")
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON (schema \"bandproof key 1\")")
	c.MarkFlagsMutuallyExclusive("new", "set-passphrase", "remove-passphrase", "public")
	c.MarkFlagsMutuallyExclusive("new", "json")
	return c
}

// makeKey makes a key where there is none.
func (t *terminal) makeKey(file string) error {
	key, err := record.MakeKey(file, func(bool) ([]byte, error) { return t.newSecret(true) })
	if err != nil {
		return err
	}
	t.print("made signing key %s in %s: only you can read it; keep a copy in a safe place", fingerprint(key), file)
	return nil
}

// useKey does with the key that is there what the flags say.
func (t *terminal) useKey(file string, f keyFlags) error {
	if _, err := os.Stat(file); err != nil {
		return fmt.Errorf("signing key: %w; one is made by the first run, or by \"bandproof key --new\"", err)
	}
	key, _, err := t.openKey(file, false)
	if err != nil {
		return err
	}
	switch {
	case f.set || f.remove:
		return t.changePassphrase(file, key, f.set)
	case f.public != "":
		return t.writePublic(f.public, key)
	}
	protected, err := record.HasPassphrase(file)
	if err != nil {
		return err
	}
	public, _ := key.Public().(ed25519.PublicKey)
	if f.json {
		return t.json(map[string]any{"schema": "bandproof key 1", "file": file, "fingerprint": record.Fingerprint(public), "public": hex.EncodeToString(public), "passphrase": protected})
	}
	says := "has no passphrase"
	if protected {
		says = "has a passphrase"
	}
	t.print("signing key %s in %s, %s", record.Fingerprint(public), file, says)
	t.print("public key (Ed25519): %x", []byte(public))
	return nil
}

func (t *terminal) changePassphrase(file string, key ed25519.PrivateKey, set bool) error {
	if !set {
		if err := record.SetPassphrase(file, key, nil); err != nil {
			return err
		}
		t.print("signing key %s has no passphrase any more", fingerprint(key))
		return nil
	}
	secret, err := t.newSecret(false)
	if err != nil {
		return err
	}
	if err := record.SetPassphrase(file, key, secret); err != nil {
		return err
	}
	t.print("signing key %s has a new passphrase", fingerprint(key))
	return nil
}

// newSecret asks twice for a passphrase that is to be set; it may be empty where
// that is said.
func (t *terminal) newSecret(mayBeEmpty bool) ([]byte, error) {
	if text := os.Getenv(newPassphraseVariable); text != "" {
		return []byte(text), nil
	}
	if !isTerminal(t.lines.in) {
		if mayBeEmpty {
			return nil, nil
		}
		return nil, fmt.Errorf("there is no terminal to type the new passphrase at: set $%s", newPassphraseVariable)
	}
	question := "new passphrase: "
	if mayBeEmpty {
		question = "new passphrase (Enter for none): "
	}
	first, err := t.secret(question)
	if err != nil {
		return nil, err
	}
	again, err := t.secret("the same once more: ")
	switch {
	case err != nil:
		return nil, err
	case !bytes.Equal(first, again):
		return nil, errors.New("the two passphrases differ; nothing was changed")
	case len(first) == 0 && !mayBeEmpty:
		return nil, errors.New("the passphrase is empty; --remove-passphrase takes it away")
	}
	return first, nil
}

// writePublic writes what anybody may have.
func (t *terminal) writePublic(file string, key ed25519.PrivateKey) error {
	public, _ := key.Public().(ed25519.PublicKey)
	text, err := record.PublicPEM(public)
	if err != nil {
		return err
	}
	if err := writeFile(file, text); err != nil {
		return err
	}
	t.print("wrote the public key, %s, to %s", record.Fingerprint(public), file)
	return nil
}
