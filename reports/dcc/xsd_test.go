package dcc

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// schemas is the folder of the published schemas: dcc/v3.1.2/dcc.xsd, the D-SI
// schema that it imports, and an XML catalog that finds both without a network.
// They are under the LGPL and no part of this repository.
func schemas(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("BANDPROOF_DCC_SCHEMAS")
	if dir == "" {
		t.Skip("NOT VALIDATED against the published DCC schema: set BANDPROOF_DCC_SCHEMAS to a folder with catalog.xml and dcc/v3.1.2/dcc.xsd")
	}
	require.FileExists(t, filepath.Join(dir, "catalog.xml"), "BANDPROOF_DCC_SCHEMAS")
	return dir
}

// validate has xmllint judge a file by the schema of its version.
func validate(t testing.TB, text []byte) (output string, err error) {
	t.Helper()
	return validateAs(t, parsed(t, text).attrs["schemaVersion"], text)
}

func validateAs(t testing.TB, version string, text []byte) (output string, err error) {
	t.Helper()
	dir := schemas(t)
	file := filepath.Join(t.TempDir(), "certificate.xml")
	require.NoError(t, os.WriteFile(file, text, 0o600))
	c := exec.Command(judge(t, "xmllint", "libxml2-utils"), "--nonet", "--noout", "--huge", "--schema", filepath.Join(dir, "dcc", "v"+version, "dcc.xsd"), file)
	c.Env = append(os.Environ(), "XML_CATALOG_FILES="+filepath.Join(dir, "catalog.xml"))
	out, err := c.CombinedOutput()
	return string(out), err
}

func TestValidBySchema(t *testing.T) {
	schemas(t)
	for name, records := range cases(t) {
		t.Run(name, func(t *testing.T) {
			out, err := validate(t, certified(t, options(), records...))
			require.NoError(t, err, out)
		})
	}
}

// The golden files in testdata are valid too.
func TestGoldenValidBySchema(t *testing.T) {
	schemas(t)
	files, err := filepath.Glob("testdata/*.xml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		out, err := validate(t, text)
		require.NoError(t, err, out)
	}
}

// A damaged file is refused by the schema, or, where that has no word against
// it, only by the checks of this package: both as noted.
func TestSchemaRefusesDamage(t *testing.T) {
	schemas(t)
	good := string(certified(t, options(), foundRecord(t), leftRecord(t)))
	for _, row := range damage {
		require.Contains(t, good, row.old, row.name)
		out, err := validate(t, []byte(strings.Replace(good, row.old, row.new, 1)))
		if row.bySchema {
			require.Error(t, err, row.name)
			require.Contains(t, out, "fails to validate", row.name)
		} else {
			require.NoError(t, err, "%s: %s", row.name, out)
		}
	}
}

// The runs of every kind of measurement on the virtual bench are valid.
func TestKindsValidBySchema(t *testing.T) {
	schemas(t)
	for name, r := range kindsRecords(t) {
		out, err := validate(t, certified(t, Options{Country: "ZZ"}, r))
		require.NoError(t, err, "%s: %s", name, out)
	}
}

// Why a signature lies beside the file: version 3.1.2 takes none within, neither
// at the end of the root nor in the comment, which may hold what a schema declares.
func TestNoPlaceForASignatureWithin(t *testing.T) {
	schemas(t)
	o := options()
	o.PDF = nil
	good := string(certified(t, o, leftRecord(t)))
	const end, signature = "</dcc:digitalCalibrationCertificate>", `<ds:Signature xmlns:ds="http://www.w3.org/2000/09/xmldsig#"/>`
	for _, within := range []string{signature, "<dcc:comment>" + signature + "</dcc:comment>"} {
		out, err := validateAs(t, "3.1.2", []byte(strings.Replace(good, end, within+end, 1)))
		require.Error(t, err)
		require.Contains(t, out, "Signature")
	}
}
