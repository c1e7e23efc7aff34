package dcc

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/pem"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"bandproof/drivers/drivertest/peer"

	"github.com/stretchr/testify/require"
)

// signedAt is within the time for which the certificates of the tests are valid.
var signedAt = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

// selfSigned makes a certificate of an invented laboratory.
func selfSigned(t testing.TB, key crypto.Signer) (certificate, private []byte) {
	t.Helper()
	template := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Example Bench (invented)"}, NotBefore: signedAt.AddDate(-1, 0, 0), NotAfter: signedAt.AddDate(20, 0, 0)}
	der, err := x509.CreateCertificate(rand.Reader, &template, &template, key.Public(), key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})
}

func rsaKey(t testing.TB, bits int) *rsa.PrivateKey {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, bits)
	require.NoError(t, err)
	return key
}

// judge finds a program of others that judges certificates or signatures.
func judge(t testing.TB, program, pack string) string {
	t.Helper()
	return peer.Program(t, program, pack, "no other program has judged the certificate")
}

// A signature by each kind of key is verified by xmlsec1, an implementation of
// XMLDSig of others, and is refused once a byte of the file has changed.
func TestDetachedSignatureVerifies(t *testing.T) {
	xmlsec := judge(t, "xmlsec1", "xmlsec1")
	p256, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	p384, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	require.NoError(t, err)
	for _, row := range []struct {
		name string
		key  crypto.Signer
		file string
	}{{"RSA", rsaKey(t, 2048), "as-left.xml"}, {"ECDSA P-256", p256, "with space & sign.xml"}, {"ECDSA P-384", p384, "ÄΩ 100%.xml"}} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			certificate, private := selfSigned(t, row.key)
			s, err := NewSigner(certificate, private, signedAt)
			require.NoError(t, err)
			body := []byte("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<certificate  a='1'/>\n")
			sum := sha256.Sum256(body)
			var b bytes.Buffer
			require.NoError(t, s.Detached(&b, row.file, sum[:]))
			require.Contains(t, b.String(), base64.StdEncoding.EncodeToString(sum[:]), "the digest is that of the file's bytes")
			write := func(name string, content []byte) {
				require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o600))
			}
			write("c.pem", certificate)
			write("x.sig.xml", b.Bytes())
			verify := func() error {
				c := exec.Command(xmlsec, "--verify", "--trusted-pem", "c.pem", "--verification-time", "2026-11-26 12:00:00", "x.sig.xml")
				c.Dir = dir
				out, err := c.CombinedOutput()
				t.Logf("%s", out)
				return err
			}
			write(row.file, body)
			require.NoError(t, verify())
			write(row.file, bytes.Replace(body, []byte("  a"), []byte(" a"), 1)) // the same XML, other bytes
			require.Error(t, verify())
			write(row.file, body)
			write("x.sig.xml", bytes.Replace(b.Bytes(), []byte("SignatureValue>"), []byte("SignatureValue>AAAA"), 1))
			require.Error(t, verify())
		})
	}
}

func TestSignerRefuses(t *testing.T) {
	key := rsaKey(t, 2048)
	certificate, private := selfSigned(t, key)
	otherCertificate, otherPrivate := selfSigned(t, rsaKey(t, 2048))
	_, secret, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	edCertificate, edPrivate := selfSigned(t, secret)
	for _, row := range []struct {
		name             string
		certificate, key []byte
		now              time.Time
		want             string
	}{
		{"key of another", otherCertificate, private, signedAt, "one key pair"},
		{"certificate of another", certificate, otherPrivate, signedAt, "one key pair"},
		{"no PEM", []byte("hello"), private, signedAt, "expected one PEM file each"},
		{"swapped", private, certificate, signedAt, "expected one PEM file each"},
		{"over", certificate, private, signedAt.AddDate(30, 0, 0), "is valid from 2025-11-26 to 2046-11-26, and it is 2056-11-26"},
		{"Ed25519", edCertificate, edPrivate, signedAt, "neither RSA nor ECDSA"},
	} {
		_, err := NewSigner(row.certificate, row.key, row.now)
		require.ErrorContains(t, err, row.want, row.name)
	}
	s, err := NewSigner(certificate, private, signedAt)
	require.NoError(t, err)
	require.ErrorContains(t, s.Detached(&bytes.Buffer{}, "x", []byte("short")), "SHA-256 has 32")
}
