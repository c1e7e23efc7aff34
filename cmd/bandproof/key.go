package main

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"bandproof/reports/record"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// The signing key is found by these, unless --key names its file.
const (
	keyVariable        = "BANDPROOF_KEY"
	passphraseVariable = "BANDPROOF_KEY_PASSPHRASE"
	// newPassphraseVariable is that which a key is given, where there is no terminal.
	newPassphraseVariable = "BANDPROOF_KEY_NEW_PASSPHRASE"
)

// keyFlag says where the signing key is.
func keyFlag(c *cobra.Command, file *string) {
	c.Flags().StringVar(file, "key", "", "file of the key that signs the record, made where there is none; $"+keyVariable+", or one in your configuration folder, unless stated")
}

// keyFile is the file of the signing key.
func keyFile(flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if file := os.Getenv(keyVariable); file != "" {
		return file, nil
	}
	folder, err := os.UserConfigDir()
	if err != nil {
		return "", usage{fmt.Errorf("where to keep the signing key is not known: %w; name a file with --key or $%s", err, keyVariable)}
	}
	return filepath.Join(folder, "bandproof", "signing-key"), nil
}

// signingKey reads the key, before a run begins, so that nothing is left to go
// wrong with it when the record is made. A new one is told of. Where nobody is
// there a passphrase comes from the environment alone.
func (t *terminal) signingKey(flag string, unattended bool) (ed25519.PrivateKey, error) {
	file, err := keyFile(flag)
	if err != nil {
		return nil, err
	}
	key, made, err := t.openKey(file, unattended)
	if err != nil {
		return nil, usage{err}
	}
	if made {
		t.note("made a signing key, %s, in %s: only you can read it; keep a copy in a safe place", fingerprint(key), file)
	}
	return key, nil
}

// passphraseTries is how often a person may mistype a passphrase.
const passphraseTries = 3

func (t *terminal) openKey(file string, unattended bool) (key ed25519.PrivateKey, made bool, err error) {
	asked := false
	for range passphraseTries {
		key, made, err = record.OpenKey(file, func(isNew bool) ([]byte, error) {
			secret := os.Getenv(passphraseVariable)
			if secret != "" || isNew { // a new key has one only where it is there
				return []byte(secret), nil
			}
			if unattended {
				return nil, fmt.Errorf("nobody is there to type it: set $%s", passphraseVariable)
			}
			asked = true
			return t.secret(fmt.Sprintf("passphrase of signing key %s: ", file))
		})
		if !asked || !errors.Is(err, record.ErrPassphrase) || errors.Is(err, errNoTerminal) {
			break
		}
		t.note("%v", err)
	}
	return key, made, err
}

// errNoTerminal: a passphrase can't be typed.
var errNoTerminal = errors.New("there is no terminal to type it at: set $" + passphraseVariable)

// secret asks for a text that is not shown while it is typed.
func (t *terminal) secret(question string) ([]byte, error) {
	f, ok := t.lines.in.(*os.File)
	if !ok || !isTerminal(f) {
		return nil, errNoTerminal
	}
	t.wipe()
	_, _ = io.WriteString(t.err, visible(question))
	text, err := term.ReadPassword(int(f.Fd()))
	_, _ = io.WriteString(t.err, "\n")
	if err != nil {
		return nil, fmt.Errorf("passphrase: %w", err)
	}
	return text, nil
}

func fingerprint(key ed25519.PrivateKey) string {
	public, _ := key.Public().(ed25519.PublicKey)
	return record.Fingerprint(public)
}
