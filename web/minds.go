package web

import (
	"sync"

	"crosscount/diag"
)

// minds remembers decisions: the same case always gives the same one.
type minds struct {
	mu   sync.Mutex
	made map[string]diag.Decision // by fingerprint
	n    int                      // how many were ever made
}

const mindsKept = 1024

func newMinds() *minds { return &minds{made: map[string]diag.Decision{}} }

// decide weighs a case, or remembers having done so.
func (m *minds) decide(c diag.Case) (d diag.Decision, fingerprint string, err error) {
	fingerprint = diag.Fingerprint(c)
	m.mu.Lock()
	d, ok := m.made[fingerprint]
	m.mu.Unlock()
	if ok {
		return d, fingerprint, nil
	}
	d, err = diag.Decide(c)
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
	m.made[fingerprint] = d
	m.n++
	return d, fingerprint, nil
}

// count is how many decisions were ever made; it grows with every case weighed anew.
func (m *minds) count() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.n
}
