package say

import (
	"encoding/json"
	"reflect"
	"testing"
)

func TestKeep(t *testing.T) {
	type part struct {
		Why  Text   `json:"why"`
		More []Text `json:"more,omitempty"`
	}
	type whole struct {
		Name  string    `json:"name"`
		One   *part     `json:"one,omitempty"`
		Parts []part    `json:"parts"`
		Long  []float64 `json:"long"`
		Also  Text      `json:"also,omitzero"`
	}
	was := whole{Name: "x", One: &part{Why: T("%d of %s, %.2f V, %02X", 3, T("The bank").Lower(), 0.5, 10)},
		Parts: []part{{Why: T("%s off", Quantity{Value: 40, Unit: "kPa"}), More: Texts([]string{"5 % of it"})}, {Why: T("%q is wrong", "it").Upper()}}, Long: []float64{1, 2}}
	t.Run("comes back with its blanks open", func(t *testing.T) {
		b, err := Keep(was)
		var is whole
		if err == nil {
			err = Back(b, &is)
		}
		if err != nil || !reflect.DeepEqual(is, was) {
			t.Errorf("%s came back as %+v, %v", b, is, err)
		}
	})
	t.Run("is English to who does not know of it", func(t *testing.T) {
		b, err := Keep(was)
		var is struct {
			One struct{ Why string }
		}
		if err == nil {
			err = json.Unmarshal(b, &is)
		}
		if err != nil || is.One.Why != "3 of the bank, 0.50 V, 0A" {
			t.Errorf("%q, %v", is.One.Why, err)
		}
	})
	t.Run("reads what an older program wrote", func(t *testing.T) {
		var is whole
		if err := Back([]byte(`{"name":"y","parts":[{"why":"as it was"}],"long":null}`), &is); err != nil || is.Parts[0].Why.String() != "as it was" {
			t.Errorf("%+v, %v", is, err)
		}
		if err := Back([]byte(`{"name":`), &is); err == nil {
			t.Error("reads half a file")
		}
	})
	t.Run("adds nothing where there is nothing to fill in", func(t *testing.T) {
		b, err := Keep(whole{Also: T("plain")})
		if err != nil || string(b) != `{"name":"","parts":null,"long":null,"also":"plain"}` {
			t.Errorf("%s, %v", b, err)
		}
	})
}
