package record

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/crypto/ssh"
)

// ErrKey is wrapped by every error about a signing key.
var ErrKey = errors.New("signing key")

// OpenKey reads the signing key of a file, or makes one where there is none
// yet; made tells which. The file is an OpenSSH private key (Ed25519) that only
// its owner can read. passphrase is asked only where the file has one, and for a
// new file: nil, or an empty answer, leaves that without.
func OpenKey(file string, passphrase func(isNew bool) ([]byte, error)) (key ed25519.PrivateKey, made bool, err error) {
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		key, err = makeKey(file, passphrase)
		return key, err == nil, err
	}
	if err != nil {
		return nil, false, fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	if err := onlyOwner(file); err != nil {
		return nil, false, fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	raw, err := ssh.ParseRawPrivateKey(text)
	if missing := new(ssh.PassphraseMissingError); errors.As(err, &missing) {
		var secret []byte
		if passphrase != nil {
			secret, err = passphrase(false)
		}
		if len(secret) == 0 {
			return nil, false, fmt.Errorf("%w %s: has a passphrase, which was not given%w", ErrKey, file, because(err, missing))
		}
		raw, err = ssh.ParseRawPrivateKeyWithPassphrase(text, secret)
	}
	if err != nil {
		return nil, false, fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	p, ok := raw.(*ed25519.PrivateKey)
	if !ok {
		return nil, false, fmt.Errorf("%w %s: is a %T; expected an Ed25519 key", ErrKey, file, raw)
	}
	return *p, false, nil
}

// because keeps why a passphrase could not be had.
func because(err error, missing *ssh.PassphraseMissingError) error {
	if err == nil || errors.As(err, &missing) {
		return noCause{}
	}
	return fmt.Errorf(": %w", err)
}

type noCause struct{}

func (noCause) Error() string { return "" }

// makeKey writes a new key, whole or not at all, without ever replacing one.
func makeKey(file string, passphrase func(bool) ([]byte, error)) (ed25519.PrivateKey, error) {
	fail := func(err error) (ed25519.PrivateKey, error) {
		return nil, fmt.Errorf("%w %s: could not be made: %w", ErrKey, file, err)
	}
	var secret []byte
	if passphrase != nil {
		var err error
		if secret, err = passphrase(true); err != nil {
			return fail(err)
		}
	}
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return fail(err)
	}
	if err := writeKey(file, key, secret); err != nil {
		return fail(err)
	}
	return key, nil
}

// writeKey writes the key to a file that must not be there yet.
func writeKey(file string, key ed25519.PrivateKey, secret []byte) error {
	const comment = "bandproof records"
	block, err := ssh.MarshalPrivateKey(key, comment)
	if len(secret) > 0 {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, comment, secret)
	}
	if err != nil {
		return err
	}
	folder := filepath.Dir(file)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	tmp, err := os.CreateTemp(folder, ".signing-key-*") // 0600
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(tmp.Name()) }()
	_, err = tmp.Write(pem.EncodeToMemory(block))
	if err = errors.Join(err, tmp.Sync(), tmp.Close()); err != nil {
		return err
	}
	return os.Link(tmp.Name(), file) // fails where another process was faster
}

// Fingerprint names a public key in short: the first 8 bytes of its SHA-256, in
// groups of four hex digits. It is printed on data sheets.
func Fingerprint(key ed25519.PublicKey) string {
	sum := sha256.Sum256(key)
	var groups []string
	for text := hex.EncodeToString(sum[:8]); text != ""; text = text[4:] {
		groups = append(groups, text[:4])
	}
	return strings.Join(groups, "-")
}

// PublicPEM writes a public key as openssl reads it (RFC 8410).
func PublicPEM(key ed25519.PublicKey) ([]byte, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrKey, err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), nil
}
