// Package browsertest starts a real browser for tests of what reports draw and write.
package browsertest

import (
	"context"
	"testing"

	"bandproof/drivers/drivertest/peer"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Start starts Chromium without a window and with a profile of its own. Where it
// is missing the test fails, or with BANDPROOF_NO_PEERS=1 is left out and says
// what no browser has done.
func Start(t *testing.T, notDone string) context.Context {
	t.Helper()
	tool := peer.Program(t, "chromium", "chromium", "no browser has "+notDone)
	options := append([]chromedp.ExecAllocatorOption{}, chromedp.DefaultExecAllocatorOptions[:]...)
	options = append(options, chromedp.ExecPath(tool), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	_, err := chromedp.Run(ctx, chromedp.Location()) // starts it; the tabs may be closed before it is
	require.NoError(t, err)
	return ctx
}
