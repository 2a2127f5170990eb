package diag

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"

	"crosscount/diag/say"
)

// DecodeCase reads a case file (version 1). It is strict: unknown and repeated
// fields, wrong types, unknown ids, fields that do not belong to an entry's kind
// and numbers out of range are refused, all at once, as Problems. Any other
// error comes from the reader.
func DecodeCase(r io.Reader) (Case, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return Case{}, fmt.Errorf("read the case: %w", err)
	}
	tree, ps := parseTree(b)
	if len(ps) > 0 {
		return Case{}, ps
	}
	c := Case{Evidence: []Entry{}} // none named is an empty list, also when written again
	bind(tree, reflect.ValueOf(&c).Elem(), "", &ps)
	// Where a field did not bind, its checks would only repeat the complaint.
	for _, p := range c.Check() {
		if !slices.ContainsFunc(ps, func(q Problem) bool { return q.Path == p.Path }) {
			ps = append(ps, p)
		}
	}
	if len(ps) > 0 {
		return Case{}, ps
	}
	return c, nil
}

// jsonNode is a JSON value that remembers the order and repetition of its fields.
type jsonNode struct {
	scalar any // string, json.Number, bool or nil
	object []jsonField
	array  []jsonNode
	kind   byte // 'o' object, 'a' array, 's' scalar
}

type jsonField struct {
	name  string
	value jsonNode
}

const maxDepth = 16

func parseTree(b []byte) (jsonNode, Problems) {
	if len(bytes.TrimSpace(b)) == 0 {
		return jsonNode{}, Problems{{"", say.T("the case is empty"), say.T("send a case file as JSON")}}
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	n, err := parseNode(d, 0)
	if err == nil {
		if _, more := d.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("something follows the case")
		}
	}
	if err != nil {
		line := 1 + bytes.Count(b[:min(int(d.InputOffset()), len(b))], []byte("\n"))
		return jsonNode{}, Problems{{"", say.T("not sound JSON at line %d: %s", line, say.T(err.Error())), say.T("mend the file there")}}
	}
	return n, nil
}

func parseNode(d *json.Decoder, depth int) (jsonNode, error) {
	if depth > maxDepth {
		return jsonNode{}, errors.New("nested too deep")
	}
	t, err := d.Token()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("it ends too early")
		}
		return jsonNode{}, err
	}
	switch t {
	case json.Delim('{'):
		n := jsonNode{kind: 'o'}
		for d.More() {
			k, err := d.Token()
			if err != nil {
				return jsonNode{}, err
			}
			v, err := parseNode(d, depth+1)
			if err != nil {
				return jsonNode{}, err
			}
			n.object = append(n.object, jsonField{k.(string), v})
		}
		_, err := d.Token()
		return n, err
	case json.Delim('['):
		n := jsonNode{kind: 'a'}
		for d.More() {
			v, err := parseNode(d, depth+1)
			if err != nil {
				return jsonNode{}, err
			}
			n.array = append(n.array, v)
		}
		_, err := d.Token()
		return n, err
	}
	return jsonNode{kind: 's', scalar: t}, nil
}

// bind fills v from the tree by json tags and notes everything that does not fit.
func bind(n jsonNode, v reflect.Value, path string, ps *Problems) {
	wrong := func(want string) { ps.add(path, say.T("not %s", say.T(want)), say.T("write %s here", say.T(want))) }
	if v.Kind() == reflect.Pointer {
		if n.kind == 's' && n.scalar == nil {
			ps.add(path, say.T("null is not a reading"), say.T("leave out what was not measured"))
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		bind(n, v.Elem(), path, ps)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		if n.kind != 'o' {
			wrong("an object {…}")
			return
		}
		seen := map[string]bool{}
		for _, f := range n.object {
			at := f.name
			if path != "" {
				at = path + "." + f.name
			}
			i := fieldByTag(v.Type(), f.name)
			switch {
			case i < 0:
				ps.add(at, say.T("unknown field"), say.T("take it out, or correct its name"))
			case seen[f.name]:
				ps.add(at, say.T("given twice"), say.T("keep one of the two"))
			default:
				bind(f.value, v.Field(i), at, ps)
			}
			seen[f.name] = true
		}
	case reflect.Slice:
		if n.kind != 'a' {
			wrong("a list […]")
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), len(n.array), len(n.array)))
		for i, e := range n.array {
			bind(e, v.Index(i), fmt.Sprintf("%s[%d]", path, i), ps)
		}
	case reflect.Map: // of numbers by name
		if n.kind != 'o' {
			wrong("an object {…}")
			return
		}
		v.Set(reflect.MakeMap(v.Type()))
		for _, f := range n.object {
			at, x := path+"."+clip(f.name), reflect.New(v.Type().Elem()).Elem()
			if v.MapIndex(reflect.ValueOf(f.name)).IsValid() {
				ps.add(at, say.T("given twice"), say.T("keep one of the two"))
			}
			bind(f.value, x, at, ps)
			v.SetMapIndex(reflect.ValueOf(f.name), x)
		}
	case reflect.String:
		s, ok := n.scalar.(string)
		if n.kind != 's' || !ok {
			wrong("a text in quotes")
			return
		}
		if s == "" {
			ps.add(path, say.T("empty"), say.T("fill it in or leave the field out"))
			return
		}
		v.SetString(s)
	case reflect.Bool:
		b, ok := n.scalar.(bool)
		if n.kind != 's' || !ok {
			wrong("true or false")
			return
		}
		v.SetBool(b)
	case reflect.Int:
		x, ok := number(n)
		if !ok || x != math.Trunc(x) || math.Abs(x) > 1e9 {
			wrong("a whole number")
			return
		}
		if x == 0 && path != "vehicle.odometer_km" {
			ps.add(path, say.T("0 is not a number to use here"), say.T("counting starts at 1; leave the field out where it does not apply"))
			return
		}
		v.SetInt(int64(x))
	case reflect.Float64:
		x, ok := number(n)
		if !ok {
			wrong("a number without its unit")
			return
		}
		v.SetFloat(x)
	}
}

func number(n jsonNode) (float64, bool) {
	num, ok := n.scalar.(json.Number)
	if n.kind != 's' || !ok {
		return 0, false
	}
	x, err := num.Float64()
	return x, err == nil
}

func fieldByTag(t reflect.Type, name string) int {
	for i := range t.NumField() {
		tag, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		if tag == name {
			return i
		}
	}
	return -1
}
