package say

import (
	"encoding/json"
	"fmt"
	"reflect"
)

// Keep writes a struct as JSON for storing: the English in its place, as everywhere, and
// beside it, under "said", how each sentence with blanks was made. Back reads both, so
// that what was said years ago can be said in another language.
func Keep(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	said := map[string]kept{}
	each(reflect.ValueOf(v), func(t reflect.Value) {
		if x := t.Interface().(Text); len(x.Args) > 0 || x.First != AsIs {
			said[x.String()] = kept(x)
		}
	})
	if len(said) == 0 || len(b) < 3 || b[0] != '{' {
		return b, nil
	}
	more, err := json.Marshal(said)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(b[:len(b)-1], `,"said":%s}`, more), nil
}

// Back reads what Keep or json.Marshal wrote; to is a pointer to the struct.
func Back(b []byte, to any) error {
	var beside struct {
		Said map[string]kept `json:"said"`
	}
	if err := json.Unmarshal(b, to); err != nil {
		return err
	}
	if err := json.Unmarshal(b, &beside); err != nil || len(beside.Said) == 0 {
		return err
	}
	each(reflect.ValueOf(to), func(t reflect.Value) {
		if k, ok := beside.Said[t.Interface().(Text).Format]; ok && t.CanSet() {
			t.Set(reflect.ValueOf(Text(k)))
		}
	})
	return nil
}

// kept is a text with its parts.
type kept Text

type keptJSON struct {
	Say   string `json:"say"`
	With  []arg  `json:"with,omitempty"`
	First Case   `json:"first,omitempty"`
}

// arg is one filling: a word, a number with or without a fraction, or a text.
type arg struct {
	Word *string   `json:"word,omitempty"`
	Int  *int      `json:"int,omitempty"`
	Real *float64  `json:"real,omitempty"`
	Text *kept     `json:"text,omitempty"`
	Of   *Quantity `json:"of,omitempty"`
}

func (k kept) MarshalJSON() ([]byte, error) {
	out := keptJSON{Say: k.Format, First: k.First}
	for _, a := range k.Args {
		switch v := a.(type) {
		case Text:
			out.With = append(out.With, arg{Text: new(kept(v))})
		case Quantity:
			out.With = append(out.With, arg{Of: &v})
		case float64:
			out.With = append(out.With, arg{Real: &v})
		case int:
			out.With = append(out.With, arg{Int: &v})
		case int64:
			out.With = append(out.With, arg{Int: new(int(v))})
		case byte:
			out.With = append(out.With, arg{Int: new(int(v))})
		default:
			out.With = append(out.With, arg{Word: new(fmt.Sprint(v))})
		}
	}
	return json.Marshal(out)
}

func (k *kept) UnmarshalJSON(b []byte) error {
	var in keptJSON
	if err := json.Unmarshal(b, &in); err != nil {
		return err
	}
	*k = kept{Format: in.Say, First: in.First}
	for _, a := range in.With {
		switch {
		case a.Text != nil:
			k.Args = append(k.Args, Text(*a.Text))
		case a.Of != nil:
			k.Args = append(k.Args, *a.Of)
		case a.Real != nil:
			k.Args = append(k.Args, *a.Real)
		case a.Int != nil:
			k.Args = append(k.Args, *a.Int)
		case a.Word != nil:
			k.Args = append(k.Args, *a.Word)
		default:
			k.Args = append(k.Args, "")
		}
	}
	return nil
}

var textType = reflect.TypeFor[Text]()

// each visits every text in a value.
func each(v reflect.Value, do func(reflect.Value)) {
	if !v.IsValid() || !holds(v.Type(), map[reflect.Type]bool{}) {
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		each(v.Elem(), do)
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			each(v.Index(i), do)
		}
	case reflect.Struct:
		if v.Type() == textType {
			do(v)
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				each(v.Field(i), do)
			}
		}
	}
}

// holds tells whether a type can hold a text, so that long lists of numbers are not
// walked.
func holds(t reflect.Type, seen map[reflect.Type]bool) bool {
	if t == textType {
		return true
	}
	if seen[t] {
		return false
	}
	seen[t] = true
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return holds(t.Elem(), seen)
	case reflect.Struct:
		for i := range t.NumField() {
			if f := t.Field(i); f.IsExported() && holds(f.Type, seen) {
				return true
			}
		}
	}
	return false
}
