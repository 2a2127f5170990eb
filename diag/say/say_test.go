package say

import (
	"encoding/json"
	"testing"
)

func TestText(t *testing.T) {
	for _, c := range []struct {
		text Text
		want string
	}{
		{T("5 % of it"), "5 % of it"},
		{T("%d %% of %s", 5, T("The mixture").Lower()), "5 % of the mixture"},
		{T("öl").Upper(), "Öl"},
		{And(Texts([]string{"one", "two", "three"})), "one, two and three"},
		{And(Texts([]string{"one"})), "one"},
		{And(nil), ""},
		{List(Texts([]string{"one", "two"})), "one, two"},
		{Series(Texts([]string{"one", "two"})), "one; two"},
		{Sentences(Texts([]string{"One.", "Two."})), "One. Two."},
		{Text{}.Lower(), ""},
		{T("%s cannot be right", Quantity{275.79, "kPa", false}), "275.79 kPa cannot be right"},
		{T("%s is lambda", Quantity{1.02, "", false}), "1.02 is lambda"},
		{T("%s to %s", Quantity{40, "kPa", true}, Quantity{115, "kPa", false}), "40 to 115 kPa"},
	} {
		if got := c.text.String(); got != c.want {
			t.Errorf("%+v says %q, want %q", c.text, got, c.want)
		}
		b, err := json.Marshal(c.text)
		var back Text
		if err == nil {
			err = json.Unmarshal(b, &back)
		}
		if err != nil || back.String() != c.want {
			t.Errorf("%s came back as %q, %v", b, back, err)
		}
	}
}
