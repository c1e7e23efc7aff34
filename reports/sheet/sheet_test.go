package sheet

import (
	"bytes"
	"os"
	"testing"

	"bandproof/runner"
	"github.com/stretchr/testify/require"
)

func TestLook(t *testing.T) {
	s, err := New(fixture(t, runner.AsLeft), fixture(t, runner.AsFound))
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, s.PDF(&b))
	os.WriteFile("/tmp/gl/a.pdf", b.Bytes(), 0o644)
	f, _ := os.Create("/tmp/gl/a.csv")
	s.CSV(f)
}
