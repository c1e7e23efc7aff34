package record

// VerificationSchema names the version of a verification's JSON.
const VerificationSchema = "bandproof verification 1"

// Verification is what came out of proving records.
type Verification struct {
	Schema string `json:"schema"`
	// Of names the store, or the files.
	Of string `json:"of"`
	// Records were looked at; each is proven, wrong, or from before there were
	// seals, which can't be proven.
	Records  int `json:"records"`
	Proven   int `json:"proven"`
	Wrong    int `json:"wrong"`
	Unsealed int `json:"unsealed"`

	Chains []ChainState `json:"chains"`
	Keys   []SignedBy   `json:"keys"`
	// Findings are what does not hold, MoreFindings how many more there are.
	Findings     []RecordFinding `json:"findings"`
	MoreFindings int             `json:"more_findings,omitempty"`
	// Open is what this verification can't tell, and what would.
	Open []string `json:"open"`
	// Shown is what it could tell beyond the records themselves.
	Shown []string `json:"shown"`
}

// Holds tells whether nothing wrong was found.
func (v Verification) Holds() bool { return len(v.Findings) == 0 }

// ChainState is one chain as it was found.
type ChainState struct {
	ID    string `json:"id"`
	Own   bool   `json:"own"` // the store adds to it
	Count int    `json:"count"`
	Last  int    `json:"last_number"`
	Head  string `json:"head"`
}

// SignedBy tells how many records a key has signed, and whether that was one of
// the keys to expect.
type SignedBy struct {
	Fingerprint string `json:"fingerprint"`
	Key         string `json:"key"` // hex
	Records     int    `json:"records"`
	Expected    bool   `json:"expected"`
}

// RecordFinding is something that does not hold with a record; ID is "" where it
// is with a chain or the whole.
type RecordFinding struct {
	ID     string `json:"record,omitempty"`
	Number int    `json:"number,omitempty"`
	Chain  string `json:"chain,omitempty"`
	Finding
}

// Expect is what a verification is held against: what stands on data sheets.
type Expect struct {
	// Keys are the fingerprints of the public keys that may have signed.
	Keys []string
	// Head is the head of a chain, and Count its number of records, as they were
	// when a sheet was printed.
	Head  string
	Count int
}

// mostListed bounds the findings that are kept, so that memory stays flat.
const mostListed = 1000
