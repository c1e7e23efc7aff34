package record_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/drivertest/peer"
	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/ssh"
)

// byPeer runs a program of others and returns what it prints.
func byPeer(t *testing.T, name string, args ...string) (string, error) {
	t.Helper()
	tool := peer.Program(t, name, "openssl openssh-client coreutils python3", "no other program has checked records and keys")
	out, err := exec.CommandContext(t.Context(), tool, args...).CombinedOutput()
	return string(out), err
}

// openssl and sha256sum come to the same as the program, of a good record and of
// one with a changed byte.
func TestSealByOpenTools(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	s := chain(t, "c", 2, testKey)[1]
	public, err := record.PublicPEM(testKey.Public().(ed25519.PublicKey))
	require.NoError(t, err)
	for name, text := range map[string][]byte{"x.json": s.Bytes, "x.seal": s.SealBytes, "x.sig": s.Signature, "key.pem": public} {
		require.NoError(t, os.WriteFile(at(name), text, 0o600))
	}
	sum, err := byPeer(t, "sha256sum", at("x.json"))
	require.NoError(t, err)
	require.Equal(t, s.Seal.Record, strings.Fields(sum)[0])
	verify := func(file string) (string, error) {
		return byPeer(t, "openssl", "pkeyutl", "-verify", "-pubin", "-inkey", at("key.pem"), "-rawin", "-in", file, "-sigfile", at("x.sig"))
	}
	says, err := verify(at("x.seal"))
	require.NoError(t, err, says)
	require.Contains(t, says, "Signature Verified Successfully")
	require.NoError(t, os.WriteFile(at("y.seal"), bytes.Replace(s.SealBytes, []byte(`"number":2`), []byte(`"number":3`), 1), 0o600))
	_, err = verify(at("y.seal"))
	require.Error(t, err)
	der, err := byPeer(t, "openssl", "pkey", "-pubin", "-in", at("key.pem"), "-text", "-noout")
	require.NoError(t, err)
	require.Contains(t, strings.NewReplacer(":", "", "\n", "", " ", "").Replace(der), s.Seal.Key)
}

// The key file is one that OpenSSH reads.
func TestKeyFileByOpenSSH(t *testing.T) {
	file := filepath.Join(t.TempDir(), "key")
	key, _, err := record.OpenKey(file, nil)
	require.NoError(t, err)
	public, err := ssh.NewPublicKey(key.Public())
	require.NoError(t, err)
	want := strings.TrimSpace(string(ssh.MarshalAuthorizedKey(public)))
	says, err := byPeer(t, "ssh-keygen", "-y", "-f", file)
	require.NoError(t, err, says)
	require.Equal(t, want, strings.Join(strings.Fields(says)[:2], " "))
	require.NoError(t, record.SetPassphrase(file, key, []byte("long enough")))
	says, err = byPeer(t, "ssh-keygen", "-y", "-P", "long enough", "-f", file)
	require.NoError(t, err, says)
	require.Equal(t, want, strings.Join(strings.Fields(says)[:2], " "))
	_, err = byPeer(t, "ssh-keygen", "-y", "-P", "another", "-f", file)
	require.Error(t, err)
}

// Python's own JSON with sorted members and no white space gives the same bytes,
// where it writes floats as ECMAScript does: the record in the test has none that
// it does not.
func TestCanonicalByPython(t *testing.T) {
	s := chain(t, "c", 1, testKey)[0]
	file := filepath.Join(t.TempDir(), "x.json")
	require.NoError(t, os.WriteFile(file, s.Bytes, 0o600))
	const program = `import json,sys
v=json.load(open(sys.argv[1],encoding="utf-8"),parse_float=lambda t:int(float(t)) if float(t).is_integer() else float(t))
sys.stdout.buffer.write(json.dumps(v,sort_keys=True,separators=(",",":"),ensure_ascii=False).encode())`
	says, err := byPeer(t, "python3", "-c", program, file)
	require.NoError(t, err, says)
	require.Equal(t, string(s.Bytes), says)
}

// RFC 8032, section 7.1, tests 1 and 2 (their values as they also stand in the
// tests of other programs): the key that the standard library makes of the seed,
// and our PEM and fingerprint of it.
func TestEd25519Vectors(t *testing.T) {
	for _, c := range []struct{ seed, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
	} {
		seed, err := hex.DecodeString(c.seed)
		require.NoError(t, err)
		message, err := hex.DecodeString(c.message)
		require.NoError(t, err)
		key := ed25519.NewKeyFromSeed(seed)
		public := key.Public().(ed25519.PublicKey)
		require.Equal(t, c.public, hex.EncodeToString(public))
		require.Equal(t, c.signature, hex.EncodeToString(ed25519.Sign(key, message)))
		text, err := record.PublicPEM(public)
		require.NoError(t, err)
		back, err := record.ParsePublicPEM(text)
		require.NoError(t, err)
		require.Equal(t, public, back)
	}
}
