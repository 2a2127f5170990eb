package seed

import (
	"os"
	"path/filepath"
	"testing"
)

// CROSSCOUNT_SHOTS=DIR keeps the drawings to look at.
func TestDrawings(t *testing.T) {
	seen := map[string]bool{}
	for at, show := range toSee {
		for _, p := range show.pictures {
			n, err := drawn(p.draw)
			if err != nil {
				t.Fatal(err)
			}
			if len(n.Data) > 200_000 || len(n.Thumb) > 60_000 || len(n.Data) < 5000 {
				t.Errorf("%s: %d bytes, thumbnail %d", at, len(n.Data), len(n.Thumb))
			}
			again, _ := drawn(p.draw)
			if string(again.Data) != string(n.Data) {
				t.Errorf("%s: drawn differently the second time", at)
			}
			seen[string(n.Data)] = true
			if dir := os.Getenv("CROSSCOUNT_SHOTS"); dir != "" {
				name := filepath.Join(dir, filepath.Base(filepath.Dir(at))+"-"+p.subject+"-"+p.moment+".jpg")
				if err := os.WriteFile(name, n.Data, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if len(seen) < 6 {
		t.Errorf("%d different drawings", len(seen))
	}
}
