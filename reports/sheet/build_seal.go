package sheet

import (
	"slices"
	"strings"
)

// shortHash is how many hex digits of a hash stand on every page; the full ones
// stand under integrity.
const shortHash = 16

// sealLine names on every page what seals the records: hashes, key, and the head
// of the store's chain; "" where none is sealed.
func (s *Sheet) sealLine() string {
	var hashes, keys []string
	for _, r := range s.runs {
		hash, key := s.fingerprint(r)
		if hash == "" {
			hashes = append(hashes, s.say("not sealed"))
			continue
		}
		hashes = append(hashes, shortened(hash))
		if key != "" && !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	if len(keys) == 0 {
		return ""
	}
	text := s.say("seal: SHA-256 %[1]s; key %[2]s", strings.Join(hashes, ", "), strings.Join(keys, ", "))
	if s.chain == nil {
		return text
	}
	count, _ := s.chain.args[0].(int)
	head, _ := s.chain.args[1].(string)
	return text + "; " + s.say("chain of %[1]s records, head %[2]s", s.count(count), shortened(head))
}

func shortened(hash string) string {
	if len(hash) <= shortHash {
		return hash
	}
	return hash[:shortHash] + "…"
}

// sealTexts say in full what can be compared with the store or by other tools.
func (s *Sheet) sealTexts() []string {
	var list []string
	for _, r := range s.runs {
		hash, key := s.fingerprint(r)
		if hash == "" {
			list = append(list, s.say("Record %[1]s is not sealed: it can't be shown that it is as it was made.", r.ID))
			continue
		}
		seal := s.seals[r.ID]
		list = append(list, s.say("Record %[1]s is number %[2]s of chain %[3]s; SHA-256 of its bytes: %[4]s; signed (Ed25519) with the key whose fingerprint is %[5]s.",
			r.ID, s.whole(seal.Number), s.stated(seal.Chain), hash, s.stated(key)))
	}
	return list
}
