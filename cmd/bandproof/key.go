package main

import (
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"

	"bandproof/reports/record"

	"github.com/spf13/cobra"
)

// The signing key is found by these, unless --key names its file.
const (
	keyVariable        = "BANDPROOF_KEY"
	passphraseVariable = "BANDPROOF_KEY_PASSPHRASE"
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
// wrong with it when the record is made. A new one is told of.
func (t *terminal) signingKey(flag string) (ed25519.PrivateKey, error) {
	file, err := keyFile(flag)
	if err != nil {
		return nil, err
	}
	key, made, err := record.OpenKey(file, t.passphrase)
	if err != nil {
		return nil, usage{err}
	}
	if made {
		t.note("made a signing key, %s, in %s: only you can read it; keep a copy in a safe place", fingerprint(key), file)
	}
	return key, nil
}

func fingerprint(key ed25519.PrivateKey) string {
	public, _ := key.Public().(ed25519.PublicKey)
	return record.Fingerprint(public)
}

// passphrase is that of the signing key, from the environment. A new key has
// one only where it is there.
func (t *terminal) passphrase(bool) ([]byte, error) {
	if p := os.Getenv(passphraseVariable); p != "" {
		return []byte(p), nil
	}
	return nil, nil
}
