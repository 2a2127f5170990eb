package diag

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

func TestShopMinutes(t *testing.T) {
	with := func(minutes string) string {
		return strings.Replace(exampleCase, `"currency": "USD"`, `"currency": "USD", "test_minutes": `+minutes, 1)
	}
	plain := decode(t, exampleCase)
	plain.Evidence = plain.Evidence[:1] // early in a job, with tests to choose from
	before, err := Decide(plain)
	if err != nil {
		t.Fatal(err)
	}
	if before.Next == nil {
		t.Fatal("no next test to time")
	}

	t.Run("price a test by what it takes in this shop", func(t *testing.T) {
		slow := plain
		slow.Costs.TestMinutes = map[string]float64{before.Next.Test: 600}
		d, err := Decide(slow)
		if err != nil {
			t.Fatal(err)
		}
		if d.Next != nil && d.Next.Test == before.Next.Test {
			t.Errorf("a test of ten hours comes first: %+v", d.Next)
		}
		if d.Costs.Expected < before.Costs.Expected {
			t.Errorf("a slower test makes the job cheaper: %g, before %g", d.Costs.Expected, before.Costs.Expected)
		}
		quick := plain
		quick.Costs.TestMinutes = map[string]float64{before.Next.Test: 0.5}
		d, err = Decide(quick)
		if err != nil {
			t.Fatal(err)
		}
		if d.Costs.Expected > before.Costs.Expected {
			t.Errorf("a quicker test makes the job dearer: %g, before %g", d.Costs.Expected, before.Costs.Expected)
		}
		if d.Next != nil && d.Next.Test == before.Next.Test && d.Next.Minutes != 0.5 {
			t.Errorf("the next test shows %g min, want the shop's 0.5", d.Next.Minutes)
		}
	})

	t.Run("do not change what is believed", func(t *testing.T) {
		slow := plain
		slow.Costs.TestMinutes = map[string]float64{before.Next.Test: 600}
		d, err := Decide(slow)
		if err != nil {
			t.Fatal(err)
		}
		if d.Causes[0].Cause != before.Causes[0].Cause || d.Causes[0].P != before.Causes[0].P {
			t.Errorf("believes %+v, before %+v", d.Causes[0], before.Causes[0])
		}
	})

	t.Run("that are the model's own change nothing", func(t *testing.T) {
		same := plain
		info, _ := TestByID(before.Next.Test)
		same.Costs.TestMinutes = map[string]float64{info.ID: info.Minutes}
		d, err := Decide(same)
		if err != nil {
			t.Fatal(err)
		}
		if d.Costs != before.Costs || d.Next.Test != before.Next.Test || d.Next.Minutes != before.Next.Minutes {
			t.Errorf("%+v, before %+v", d.Next, before.Next)
		}
		if Fingerprint(same) == Fingerprint(plain) {
			t.Error("two cases share a fingerprint")
		}
	})

	for name, c := range map[string]struct{ in, path string }{
		"unknown tests":        {`{"polish": 5}`, "costs.test_minutes.polish"},
		"no time at all":       {`{"intake_smoke": 0}`, "costs.test_minutes.intake_smoke"},
		"more than ten hours":  {`{"intake_smoke": 601}`, "costs.test_minutes.intake_smoke"},
		"text for a number":    {`{"intake_smoke": "5"}`, "costs.test_minutes.intake_smoke"},
		"a test named twice":   {`{"intake_smoke": 5, "intake_smoke": 6}`, "costs.test_minutes.intake_smoke"},
		"a list for an object": {`[5]`, "costs.test_minutes"},
	} {
		t.Run("are refused for "+name, func(t *testing.T) {
			_, err := DecodeCase(strings.NewReader(with(c.in)))
			ps, ok := errors.AsType[Problems](err)
			if !ok || !slices.ContainsFunc(ps, func(p Problem) bool { return p.Path == c.path && p.Mend.String() != "" }) {
				t.Errorf("want a problem at %s, got %v", c.path, err)
			}
		})
	}
	t.Run("are read from a case file", func(t *testing.T) {
		if c := decode(t, with(`{"intake_smoke": 25}`)); c.Costs.TestMinutes["intake_smoke"] != 25 {
			t.Errorf("read %v", c.Costs.TestMinutes)
		}
	})
}
