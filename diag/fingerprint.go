package diag

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"

	"crosscount/diag/obd"
)

// Fingerprint names a case: the hexadecimal SHA-256 of its canonical form. The
// order of entries and sensors does not matter, nor how a code is spelt, nor
// whether a code's usual status is written out, nor the sign of a zero. How the car
// stands is no part of it: that changes while nobody does anything, and prices tests only.
func Fingerprint(c Case) string {
	c.Ready = nil
	b, err := json.Marshal(canonical(c))
	if err != nil {
		// Only NaN and infinities cannot be written, and Check refuses them.
		b = []byte(err.Error())
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// canonical gives the same case in the one order that the engine works in, so
// that sums come out the same to the last bit whatever the order of entry.
func canonical(c Case) Case {
	c, _ = canonicalOrder(c)
	return c
}

// canonicalOrder is canonical, with the place of each entry in the case as given.
func canonicalOrder(c Case) (Case, []int) {
	c.Vehicle.Sensors = slices.Clone(c.Vehicle.Sensors)
	slices.SortFunc(c.Vehicle.Sensors, func(a, b Sensor) int {
		return 64*(a.Bank-b.Bank) + a.Position - b.Position
	})
	type keyed struct {
		e   Entry
		key []byte
		at  int
	}
	list := make([]keyed, len(c.Evidence))
	for i, e := range c.Evidence {
		e = canonicalEntry(c.Vehicle, e)
		key, err := json.Marshal(e)
		if err != nil {
			key = []byte(err.Error())
		}
		list[i] = keyed{e, key, i}
	}
	slices.SortStableFunc(list, func(a, b keyed) int { return bytes.Compare(a.key, b.key) })
	c.Ready = slices.Clone(c.Ready) // what was not told stays so
	slices.Sort(c.Ready)
	c.Evidence = make([]Entry, len(list))
	from := make([]int, len(list))
	for i, k := range list {
		c.Evidence[i], from[i] = k.e, k.at
	}
	return c, from
}

func canonicalEntry(v Vehicle, e Entry) Entry {
	if e.Kind == KindCode {
		if code, err := obd.ParseCode(e.Code); err == nil {
			e.Code = code.String()
		}
		if e.Status == "" {
			e.Status = "stored"
		}
	}
	for _, r := range numberRules {
		if x := r.get(&e); *x != nil && **x == 0 {
			*x = new(0.0) // minus zero is zero
		}
	}
	if e.Position != 0 {
		if s, ok := v.at(e.Bank, e.Position); ok {
			e.Bank = s.Bank // a common sensor has one name
		}
	}
	return e
}
