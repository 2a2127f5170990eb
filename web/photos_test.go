package web

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"crosscount/store"
)

// halves is a picture whose left half is red and right half blue.
func halves(w, h int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{200, 0, 0, 255}
			if x >= w/2 {
				c = color.RGBA{0, 0, 200, 255}
			}
			img.Set(x, y, c)
		}
	}
	return img
}

func asJPEG(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withExif puts an Exif segment with an orientation and a place into a JPEG, after
// Exif 2.32 (CIPA DC-008), 4.7.2.
func withExif(jpg []byte, turn uint16) []byte {
	tiff := []byte("MM\x00\x2a\x00\x00\x00\x08\x00\x01")
	tiff = append(tiff, 0x01, 0x12, 0, 3, 0, 0, 0, 1, byte(turn>>8), byte(turn), 0, 0, 0, 0, 0, 0)
	body := append([]byte("Exif\x00\x00"), tiff...)
	body = append(body, "GPS 52.5163 13.3777"...)
	seg := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2))
	return append(append(append([]byte{}, jpg[:2]...), append(seg, body...)...), jpg[2:]...)
}

// hugePNG says that it is w by h pixels; there is next to nothing behind it.
func hugePNG(w, h uint32) []byte {
	b := []byte("\x89PNG\r\n\x1a\n")
	chunk := func(name string, data []byte) {
		b = binary.BigEndian.AppendUint32(b, uint32(len(data)))
		body := append([]byte(name), data...)
		b = append(b, body...)
		b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(body))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)
	chunk("IHDR", append(head, 8, 2, 0, 0, 0))
	chunk("IDAT", []byte{0x78, 0x9c, 0x03, 0, 0, 0, 0, 1})
	chunk("IEND", nil)
	return b
}

func (b *browser) photo(job int64, id string, file io.Reader, json bool) answer {
	b.rig.t.Helper()
	pr, pw := io.Pipe()
	m := multipart.NewWriter(pw)
	go func() {
		for k, v := range map[string]string{"id": id, "subject": "tip", "moment": "before", "where": "1-1", "words": "as found",
			"at": time.Now().Add(-time.Hour).Format(time.RFC3339), "clock": time.Now().Format(time.RFC3339)} {
			_ = m.WriteField(k, v)
		}
		w, _ := m.CreateFormFile("file", "tip.jpg")
		_, err := io.Copy(w, file)
		_ = m.Close()
		pw.CloseWithError(err)
	}()
	return b.do(http.MethodPost, fmt.Sprintf("/jobs/%d/photos", job), pr, func(r *http.Request) {
		r.Header.Set("Content-Type", m.FormDataContentType())
		if json {
			r.Header.Set("Accept", "application/json")
		}
	})
}

func TestPhotos(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	job := r.job()
	one := func(a answer) result {
		t.Helper()
		var out sentAnswer
		if err := json.Unmarshal([]byte(a.want(t, http.StatusOK).body), &out); err != nil || len(out.Results) != 1 {
			t.Fatalf("%v %s", err, a.body)
		}
		return out.Results[0]
	}

	t.Run("are kept once, upright, without what the camera noted of place and time", func(t *testing.T) {
		id := store.NewID()
		sent := withExif(asJPEG(t, halves(400, 200)), 6) // to be turned a quarter clockwise
		for i, want := range []string{itemArrived, itemAlready} {
			if res := one(b.photo(job, id, bytes.NewReader(sent), true)); res.State != want {
				t.Fatalf("sending %d: %+v", i+1, res)
			}
		}
		a := b.get("/photos/"+id+"/full").want(t, http.StatusOK)
		if strings.Contains(a.body, "GPS") || strings.Contains(a.body, "Exif") || a.header.Get("Content-Type") != "image/jpeg" {
			t.Error("the kept photo still holds metadata")
		}
		img, err := jpeg.Decode(strings.NewReader(a.body))
		if err != nil {
			t.Fatal(err)
		}
		if img.Bounds().Dx() != 200 || img.Bounds().Dy() != 400 {
			t.Fatalf("%v, want 200 by 400", img.Bounds())
		}
		if red, _, blue, _ := img.At(100, 50).RGBA(); red < blue { // the left half is on top now
			t.Error("turned the wrong way")
		}
		b.get("/photos/"+id+"/thumb").want(t, http.StatusOK)
		b.get(fmt.Sprintf("/jobs/%d/photos", job)).want(t, http.StatusOK, "Before and after", "as found", "Tip, bank 1, position 1")
		b.get(fmt.Sprintf("/jobs/%d/sensor/1-1", job)).want(t, http.StatusOK, "/photos/"+id+"/thumb")
		r.nobody().get("/photos/"+id+"/full").want(t, http.StatusSeeOther)
	})
	t.Run("are shrunk", func(t *testing.T) {
		id := store.NewID()
		if res := one(b.photo(job, id, bytes.NewReader(asJPEG(t, halves(4000, 1000))), true)); res.State != itemArrived {
			t.Fatalf("%+v", res)
		}
		c, err := jpeg.DecodeConfig(strings.NewReader(b.get("/photos/" + id + "/full").body))
		if err != nil || c.Width != photoKeptSide || c.Height != 512 {
			t.Errorf("%+v, %v", c, err)
		}
	})
	t.Run("in every orientation end up the same way", func(t *testing.T) {
		// A stored picture with orientation n is one that shows the same scene.
		for turn := uint16(1); turn <= 8; turn++ {
			p, err := readPhoto(nil, withExif(asJPEG(t, halves(64, 32)), turn))
			if err != nil {
				t.Fatal(err)
			}
			wantW := 64
			if turn >= 5 {
				wantW = 32
			}
			if p.width != wantW {
				t.Errorf("orientation %d: width %d, want %d", turn, p.width, wantW)
			}
			img, _ := jpeg.Decode(bytes.NewReader(p.data))
			at := map[uint16][2]int{1: {8, 16}, 2: {56, 16}, 3: {56, 16}, 4: {8, 16}, 5: {16, 8}, 6: {16, 8}, 7: {16, 56}, 8: {16, 56}}[turn]
			if red, _, blue, _ := img.At(at[0], at[1]).RGBA(); red < blue {
				t.Errorf("orientation %d: the red half is not where table 6 of Exif 2.32 puts it", turn)
			}
		}
	})
	t.Run("may be PNG", func(t *testing.T) {
		var buf bytes.Buffer
		if err := png.Encode(&buf, halves(50, 50)); err != nil {
			t.Fatal(err)
		}
		if res := one(b.photo(job, store.NewID(), &buf, true)); res.State != itemArrived {
			t.Errorf("%+v", res)
		}
	})

	had := len(must(t)(r.store.Photos(t.Context(), job)))
	bad := []struct {
		name string
		file io.Reader
		say  string
	}{
		{"an SVG renamed .jpg", strings.NewReader(`<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>`), "neither JPEG, PNG nor WebP"},
		{"HTML renamed .jpg", strings.NewReader("<!DOCTYPE html><script>alert(1)</script>"), "neither JPEG, PNG nor WebP"},
		{"nothing", strings.NewReader(""), "neither JPEG, PNG nor WebP"},
		{"one that decodes to 30,000 by 30,000", bytes.NewReader(hugePNG(30000, 30000)), "30000 × 30000 pixels"},
		{"one that ends in the middle", bytes.NewReader(asJPEG(t, halves(400, 400))[:900]), "damaged"},
		{"one of 60 MB", io.LimitReader(endless{}, 60<<20), "larger than 40 MB"},
	}
	for _, c := range bad {
		t.Run("refuses "+c.name+" with what to do", func(t *testing.T) {
			res := one(b.photo(job, store.NewID(), c.file, true))
			if res.State != itemRefused || len(res.Problems) == 0 || !strings.Contains(res.Problems[0].Reason, c.say) || res.Problems[0].Mend == "" {
				t.Errorf("%+v", res)
			}
		})
	}
	t.Run("comes back as a page to who sends it as a form", func(t *testing.T) {
		b.photo(job, store.NewID(), strings.NewReader("<svg/>"), false).want(t, http.StatusUnprocessableEntity, "neither JPEG, PNG nor WebP", "Take the photo again")
	})
	if n := len(must(t)(r.store.Photos(t.Context(), job))); n != had {
		t.Errorf("%d photos after the refusals, want %d", n, had)
	}
	t.Run("of a job closed meanwhile are refused and stay on the tablet", func(t *testing.T) {
		closed := r.job()
		if err := r.store.CancelJob(t.Context(), r.people[store.Owner].ID, closed, "sold"); err != nil {
			t.Fatal(err)
		}
		if res := one(b.photo(closed, store.NewID(), bytes.NewReader(asJPEG(t, halves(40, 40))), true)); res.Kind != "closed" {
			t.Errorf("%+v", res)
		}
	})
	t.Run("can be removed with a reason", func(t *testing.T) {
		ps := must(t)(r.store.Photos(t.Context(), job))
		b.post(fmt.Sprintf("/jobs/%d/photos/%s/remove", job, ps[0].ID), map[string][]string{"why": {"blurred"}}).want(t, http.StatusSeeOther)
		b.get("/photos/"+ps[0].ID+"/full").want(t, http.StatusNotFound)
	})
}

// endless starts like a JPEG and never ends.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	copy(p, "\xff\xd8\xff\xe0")
	return len(p), nil
}

func must(t *testing.T) func([]store.Photo, error) []store.Photo {
	return func(ps []store.Photo, err error) []store.Photo {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return ps
	}
}

func FuzzReadPhoto(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x10Exif\x00\x00MM\x00\x2a"))
	f.Add(hugePNG(30000, 30000))
	f.Add(hugePNG(1, 1))
	f.Add([]byte("RIFF\x00\x00\x00\x00WEBPEXIF\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, format := range []string{"jpeg", "png", "webp"} {
			orientation(b, format)
		}
		if p, err := readPhoto(nil, b); err == nil && (p.width > photoKeptSide || p.height > photoKeptSide || len(p.thumb) == 0) {
			t.Errorf("kept %d by %d", p.width, p.height)
		}
	})
}
