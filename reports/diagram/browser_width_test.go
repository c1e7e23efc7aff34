package diagram

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// No letter is wider in a browser, in any of the sans-serif fonts at hand, than is
// reckoned with.
func TestLettersAreNoWiderThanReckoned(t *testing.T) {
	tab := browser(t)
	var letters []string
	for r := rune(0x20); r < 0x600; r++ {
		if r < 0x7f || r > 0xa0 && r != 0xad {
			letters = append(letters, string(r))
		}
	}
	letters = append(letters, "→", "−", "…", "—", "漢", "ﷺ", "한", "€", "™", "ﬃ")
	list, err := json.Marshal(letters)
	require.NoError(t, err)
	for _, weight := range []string{"normal", "bold"} {
		for _, family := range []string{"sans-serif", "DejaVu Sans", "Liberation Sans", "Noto Sans", "Arial", "Verdana"} {
			widths := evaluate[[]float64](t, tab, fmt.Sprintf(`(() => { const c = document.createElement("canvas").getContext("2d")
				c.font = "%s 1000px '%s', sans-serif"; return %s.map(x => c.measureText(x).width / 1000) })()`, weight, family, list))
			for k, w := range widths {
				assert.LessOrEqual(t, w, width(letters[k], 1, weight == "bold"), "%q in %s %s", letters[k], weight, family)
			}
		}
	}
}
