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

// ErrNoKey: there is no key in the file.
var ErrNoKey = fmt.Errorf("%w: there is none", ErrKey)

// ErrPassphrase: the passphrase of a key was not given, or is another one.
var ErrPassphrase = errors.New("has a passphrase")

// OpenKey reads the signing key of a file, or makes one where there is none
// yet; made tells which. The file is an OpenSSH private key (Ed25519) that only
// its owner can read. passphrase is asked only where the file has one, and for a
// new file: nil, or an empty answer, leaves that without. Where several processes
// make it at once, all get the same.
func OpenKey(file string, passphrase func(isNew bool) ([]byte, error)) (key ed25519.PrivateKey, made bool, err error) {
	key, err = ReadKey(file, passphrase)
	if !errors.Is(err, ErrNoKey) {
		return key, false, err
	}
	key, err = MakeKey(file, passphrase)
	if errors.Is(err, fs.ErrExist) { // another process was faster
		key, err = ReadKey(file, passphrase)
		return key, false, err
	}
	return key, err == nil, err
}

// ReadKey reads the signing key of a file; ErrNoKey where there is none.
func ReadKey(file string, passphrase func(isNew bool) ([]byte, error)) (ed25519.PrivateKey, error) {
	fail := func(err error) (ed25519.PrivateKey, error) {
		return nil, fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	if err := safePlace(file); err != nil {
		return fail(err)
	}
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w in %s", ErrNoKey, file)
	}
	if err != nil {
		return fail(err)
	}
	if err := onlyOwner(file); err != nil {
		return fail(err)
	}
	raw, err := ssh.ParseRawPrivateKey(text)
	if missing := new(ssh.PassphraseMissingError); errors.As(err, &missing) {
		var secret []byte
		if passphrase != nil {
			if secret, err = passphrase(false); err != nil {
				return fail(fmt.Errorf("%w: %w", ErrPassphrase, err))
			}
		}
		if len(secret) == 0 {
			return fail(fmt.Errorf("%w, which was not given", ErrPassphrase))
		}
		if raw, err = ssh.ParseRawPrivateKeyWithPassphrase(text, secret); errors.Is(err, x509.IncorrectPasswordError) {
			return fail(fmt.Errorf("%w, and it is another one", ErrPassphrase))
		}
	}
	if err != nil {
		return fail(err)
	}
	p, ok := raw.(*ed25519.PrivateKey)
	if !ok {
		return fail(fmt.Errorf("is a %T; expected an Ed25519 key", raw))
	}
	return *p, nil
}

// HasPassphrase tells whether the key in a file is protected by one.
func HasPassphrase(file string) (bool, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return false, fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	_, err = ssh.ParseRawPrivateKey(text)
	return errors.As(err, new(*ssh.PassphraseMissingError)), nil
}

// MakeKey writes a new key, whole or not at all. It never replaces one: the error
// is then fs.ErrExist.
func MakeKey(file string, passphrase func(isNew bool) ([]byte, error)) (ed25519.PrivateKey, error) {
	fail := func(err error) (ed25519.PrivateKey, error) {
		return nil, fmt.Errorf("%w %s: could not be made: %w", ErrKey, file, err)
	}
	if _, err := os.Lstat(file); err == nil {
		return fail(fmt.Errorf("%w; a key is never replaced: name another file, or move this one to a safe place first", fs.ErrExist))
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
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return fail(err)
	}
	if err := safePlace(file); err != nil {
		return fail(err)
	}
	if err := writeKey(file, key, secret, place); err != nil {
		return fail(err)
	}
	return key, nil
}

// SetPassphrase writes the key of a file anew, under a passphrase, or without one
// where secret is empty.
func SetPassphrase(file string, key ed25519.PrivateKey, secret []byte) error {
	if real, err := filepath.EvalSymlinks(file); err == nil {
		file = real
	}
	if err := writeKey(file, key, secret, os.Rename); err != nil {
		return fmt.Errorf("%w %s: %w", ErrKey, file, err)
	}
	return nil
}

// writeKey writes the key to a file of its own, which put then puts in its place.
func writeKey(file string, key ed25519.PrivateKey, secret []byte, put func(from, to string) error) error {
	const comment = "bandproof records"
	block, err := ssh.MarshalPrivateKey(key, comment)
	if len(secret) > 0 {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, comment, secret)
	}
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), ".signing-key-*") // 0600
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(tmp.Name()) }()
	_, err = tmp.Write(pem.EncodeToMemory(block))
	if err = errors.Join(err, tmp.Sync(), tmp.Close()); err != nil {
		return err
	}
	return put(tmp.Name(), file)
}

// place puts a file where there is none yet. A file system without hard links
// gets a copy, which a power cut may leave unfinished; it is then refused.
func place(from, to string) error {
	err := os.Link(from, to) // fails where another process was faster
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	text, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Sync(), f.Close())
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
