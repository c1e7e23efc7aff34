package virtual

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"strconv"
)

// draw is a family of random numbers with one key: asking for the same purpose
// twice gives the same number. That is what makes a run repeat (see doc.go).
type draw struct{ key string }

// newDraw returns the draws of one event: the ordinal-th gate (or try, or
// reply) of an instrument at a setting.
func newDraw(seed int, instrument, setting string, ordinal int) draw {
	return draw{strconv.Itoa(seed) + "\x00" + instrument + "\x00" + setting + "\x00" + strconv.Itoa(ordinal)}
}

// uniform returns a number in [0, 1) for the named purpose.
func (d draw) uniform(purpose string) float64 {
	sum := sha256.Sum256([]byte(d.key + "\x00" + purpose))
	return float64(binary.BigEndian.Uint64(sum[:8])>>11) / (1 << 53)
}

// normal returns a number of the standard normal distribution (Box and Muller).
func (d draw) normal(purpose string) float64 {
	u := 1 - d.uniform(purpose+" radius") // (0, 1]
	return math.Sqrt(-2*math.Log(u)) * math.Cos(2*math.Pi*d.uniform(purpose+" angle"))
}
