package runner_test

import (
	"testing"

	"bandproof/runner/runnertest"
)

type (
	rig     = runnertest.Rig
	options = runnertest.Options
)

func newRig(t *testing.T, o options) *rig {
	t.Helper()
	return runnertest.New(t, o)
}
