package procedures

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
)

// Fingerprint is the SHA-256 of the plan as JSON, lower-case hex. Two plans with
// the same one have the same points, limits, order and warnings.
func (pl *Plan) Fingerprint() (string, error) {
	text, err := json.Marshal(pl)
	if err != nil {
		return "", fmt.Errorf("plan: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}
