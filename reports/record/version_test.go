package record

import (
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestVersionTellsTheBuild(t *testing.T) {
	require.Equal(t, "development", version(nil, false))
	require.Equal(t, "v1.2.3", version(&debug.BuildInfo{Main: debug.Module{Version: "v1.2.3"}}, true))
	require.Equal(t, "development 0123456789ab, changed", version(&debug.BuildInfo{Main: debug.Module{Version: "(devel)"},
		Settings: []debug.BuildSetting{{Key: "vcs.revision", Value: "0123456789abcdef"}, {Key: "vcs.modified", Value: "true"}}}, true))
}
