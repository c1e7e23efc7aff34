package profile_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/profile"
	"bandproof/procedures/quantity/tomlfile"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// Each file is named for its damage; its golden file holds the messages.
func TestLoadTellsEveryMistakeOfADamagedProfile(t *testing.T) {
	files, err := filepath.Glob("testdata/malformed/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".toml")
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			p, err := profile.Load(filepath.Base(file), text)
			require.Nil(t, p)
			var mistakes *tomlfile.Mistakes
			require.ErrorAs(t, err, &mistakes)
			got := err.Error() + "\n"
			golden := strings.TrimSuffix(file, ".toml") + ".golden"
			if *update {
				require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), got)
		})
	}
}

func TestLoadReadsTheWholeProfile(t *testing.T) {
	p := load(t, counterText)
	require.Equal(t, "test-counter", p.Name())
	require.Equal(t, profile.RoleCounter, p.Role())
	require.Equal(t, "made up for the tests", p.Source())
	require.Equal(t, "A counter that is quick to give up.", p.Description())
	require.Empty(t, p.Examples())
}

func TestCapabilityIsPlainValues(t *testing.T) {
	c := load(t, edit(t, counterText, `query = "APER?"`, `allowed = ["1 s", "10 ms"]`,
		"zero_is_no_count = true", "zero_is_no_count = true\ngate_lengthened = true\ndisplay_and_reply_agree = true\ndiscard = 2\noverhead = \"20 ms\"")).Capability()
	require.Equal(t, []string{"A", "B"}, c.Inputs)
	require.Len(t, c.Gates, 2)
	require.Equal(t, "10 ms", c.Gates[0].String(), "shortest first")
	require.Equal(t, 2, c.Discard)
	require.Equal(t, "20 ms", c.Overhead.String())
	require.True(t, c.GateLengthened && c.DisplayAndReplyAgree && c.ZeroIsNoCount)
	require.True(t, c.TellsIdentity && c.TellsReference && c.TellsErrors && c.SelfTests)
	require.False(t, c.TellsLock)

	require.Equal(t, 1, load(t, counterText).Capability().Discard, "one full gate unless stated")
	require.Equal(t, 0, load(t, edit(t, counterText, "zero_is", "discard = 0\nzero_is")).Capability().Discard)

	s := load(t, sourceText).Capability()
	require.Equal(t, "20 ms", s.Settle.String())
	require.Equal(t, "1 Hz", s.FrequencyResolution.String())
	require.Equal(t, "0.1 dB", s.LevelResolution.String())
	require.True(t, s.TellsLock)
	require.Zero(t, s.Discard)
}

func FuzzLoad(f *testing.F) {
	f.Add([]byte(counterText))
	f.Add([]byte(sourceText))
	files, _ := filepath.Glob("testdata/malformed/*.toml")
	for _, file := range files {
		if text, err := os.ReadFile(file); err == nil {
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := profile.Load("f.toml", text)
		if (p == nil) == (err == nil) {
			t.Fatalf("profile %v and error %v", p, err)
		}
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without a message")
			}
			return
		}
		_ = p.Capability()
	})
}
