package web

import (
	"crypto/sha256"
	"encoding/json"
	"sync"

	"crosscount/diag"
)

// minds remembers decisions: the same case always gives the same one.
type minds struct {
	mu   sync.Mutex
	made map[[32]byte]diag.Decision // by the case, entry for entry, and what is excluded
}

const mindsKept = 1024

func newMinds() *minds { return &minds{made: map[[32]byte]diag.Decision{}} }

// decide weighs a case of which some tests cannot be done, or remembers having done so.
func (m *minds) decide(c diag.Case, out ...diag.Exclusion) (d diag.Decision, fingerprint string, err error) {
	fingerprint = diag.Fingerprint(c)
	// Reasons point to entries by their place, so the order counts here.
	b, err := json.Marshal([]any{c, out})
	if err != nil {
		return d, fingerprint, err
	}
	key := sha256.Sum256(b)
	m.mu.Lock()
	d, ok := m.made[key]
	m.mu.Unlock()
	if ok {
		return d, fingerprint, nil
	}
	d, err = diag.DecideWithout(c, out)
	if err != nil {
		return d, fingerprint, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.made) >= mindsKept {
		for k := range m.made { // any of them
			delete(m.made, k)
			break
		}
	}
	m.made[key] = d
	return d, fingerprint, nil
}
