package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"strings"
	"testing"

	"crosscount/store"
	"crosscount/web/browsertest"
)

func TestInstalls(t *testing.T) {
	r := newRig(t)
	t.Run("with a name, a first page and icons of the sizes it says", func(t *testing.T) {
		b := r.nobody()
		var m struct {
			Name     string `json:"name"`
			StartURL string `json:"start_url"`
			Scope    string `json:"scope"`
			Display  string `json:"display"`
			Icons    []struct{ Src, Sizes, Type, Purpose string }
		}
		if err := json.Unmarshal([]byte(b.get("/manifest.webmanifest").want(t, 200).body), &m); err != nil {
			t.Fatal(err)
		}
		if m.Name == "" || m.Display != "standalone" || !strings.HasPrefix(m.StartURL, m.Scope) {
			t.Errorf("%+v", m)
		}
		purposes := map[string]bool{}
		for _, i := range m.Icons {
			purposes[i.Purpose] = true
			body := b.get(i.Src).want(t, 200).body
			if i.Type != "image/png" {
				continue
			}
			c, err := png.DecodeConfig(bytes.NewReader([]byte(body)))
			if err != nil || fmt.Sprintf("%dx%d", c.Width, c.Height) != i.Sizes {
				t.Errorf("%s: %d by %d, said to be %s: %v", i.Src, c.Width, c.Height, i.Sizes, err)
			}
		}
		if !purposes["any"] || !purposes["maskable"] {
			t.Errorf("icons for %v", purposes)
		}
	})
	t.Run("on a tablet's home screen", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go("/")
		browsertest.Wait[bool](p, `navigator.serviceWorker.ready.then(() => true)`)
		if why := p.NotInstallable(); len(why) > 0 {
			t.Errorf("the browser would not install it: %s", strings.Join(why, ", "))
		}
		p.Go("/healthz")
		if len(p.NotInstallable()) == 0 {
			t.Error("it would install a page without a manifest too: the question tells nothing")
		}
	})
}
