package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // decodes
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"
	"golang.org/x/image/draw"
	_ "golang.org/x/image/webp" // decodes

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	photoMaxBytes  = 40 << 20 // of one photo as sent
	photoBodyBytes = 160 << 20
	photoMaxSide   = 16000      // pixels
	photoMaxPixels = 50_000_000 // what decoding may take in memory
	photoKeptSide  = 2048       // pixels of the longer side, as kept
	photoThumbSide = 480
)

// photoError says why a photo is refused, and the mend.
type photoError templates.Mend

func (e *photoError) Error() string { return e.Reason + " " + e.Mend }

// photo is a photo ready to be kept.
type photo struct {
	data, thumb   []byte
	width, height int
}

// readPhoto turns what was sent into what is kept: its type told from its content, its
// size checked before it is decoded, turned upright, shrunk, and written anew, so that
// nothing of the original but its pixels is left.
func readPhoto(l *lang.Language, b []byte) (photo, error) {
	c, format, err := image.DecodeConfig(bytes.NewReader(b))
	if err != nil || (format != "jpeg" && format != "png" && format != "webp") {
		return photo{}, new(photoError(templates.SayNoPhoto))
	}
	if c.Width > photoMaxSide || c.Height > photoMaxSide || c.Width*c.Height > photoMaxPixels {
		return photo{}, new(photoError(templates.SayPhotoTooWide(l, c.Width, c.Height, photoMaxPixels/1_000_000)))
	}
	img, _, err := image.Decode(bytes.NewReader(b))
	if err != nil {
		return photo{}, new(photoError(templates.SayPhotoBroken))
	}
	turn := orientation(b, format)
	var p photo
	full := upright(shrink(img, photoKeptSide), turn)
	p.width, p.height = full.Bounds().Dx(), full.Bounds().Dy()
	if p.data, err = encodePhoto(full, 85); err != nil {
		return photo{}, err
	}
	p.thumb, err = encodePhoto(shrink(full, photoThumbSide), 80)
	return p, err
}

func encodePhoto(img image.Image, quality int) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("write the photo: %w", err)
	}
	return b.Bytes(), nil
}

// shrink draws a picture on white, its longer side at most most pixels.
func shrink(img image.Image, most int) *image.RGBA {
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	if longer := max(w, h); longer > most {
		w, h = max(1, w*most/longer), max(1, h*most/longer)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(out, out.Bounds(), img, img.Bounds(), draw.Over, nil)
	return out
}

// upright applies an orientation of Exif 2.32, table 6 (tag 274).
func upright(img *image.RGBA, turn int) *image.RGBA {
	if turn < 2 || turn > 8 {
		return img
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	ow, oh := w, h
	if turn >= 5 {
		ow, oh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, ow, oh))
	for y := range oh {
		for x := range ow {
			sx, sy := x, y
			switch turn {
			case 2:
				sx = w - 1 - x
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sy = h - 1 - y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = y, h-1-x
			case 7:
				sx, sy = w-1-y, h-1-x
			case 8:
				sx, sy = w-1-y, x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], img.Pix[img.PixOffset(sx, sy):][:4])
		}
	}
	return out
}

// orientation finds the Exif orientation in a file, 1 if there is none.
func orientation(b []byte, format string) int {
	switch format {
	case "jpeg": // ITU-T T.81 B.1.1.3: segments of marker and length
		for i := 2; i+4 <= len(b) && b[i] == 0xff; {
			size := int(binary.BigEndian.Uint16(b[i+2:]))
			if b[i+1] == 0xda || size < 2 || i+2+size > len(b) {
				return 1
			}
			if body := b[i+4 : i+2+size]; b[i+1] == 0xe1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")) {
				return tiffOrientation(body[6:])
			}
			i += 2 + size
		}
	case "png": // PNG specification, 5.3: length, type, data, check
		for i := 8; i+12 <= len(b); {
			size := int(binary.BigEndian.Uint32(b[i:]))
			if size < 0 || size > len(b)-i-12 {
				return 1
			}
			if string(b[i+4:i+8]) == "eXIf" {
				return tiffOrientation(b[i+8 : i+8+size])
			}
			i += 12 + size
		}
	case "webp": // RFC 9649: RIFF chunks, padded to even
		for i := 12; i+8 <= len(b); {
			size := int(binary.LittleEndian.Uint32(b[i+4:]))
			if size < 0 || size > len(b)-i-8 {
				return 1
			}
			if string(b[i:i+4]) == "EXIF" {
				return tiffOrientation(bytes.TrimPrefix(b[i+8:i+8+size], []byte("Exif\x00\x00")))
			}
			i += 8 + size + size%2
		}
	}
	return 1
}

// tiffOrientation reads tag 274 of the first directory (TIFF 6.0, section 2).
func tiffOrientation(b []byte) int {
	if len(b) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if b[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int(order.Uint32(b[4:]))
	if at < 8 || at+2 > len(b) {
		return 1
	}
	for i := range int(order.Uint16(b[at:])) {
		e := at + 2 + 12*i
		if e+12 > len(b) {
			return 1
		}
		if order.Uint16(b[e:]) == 274 {
			return int(order.Uint16(b[e+8:]))
		}
	}
	return 1
}

// photosPage shows a job's photos and takes one more.
func (s *server) photosPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.Photos(s.photosView(w, r, d)))
}

func (s *server) photosView(w http.ResponseWriter, r *http.Request, d *desk) templates.PhotosView {
	p := s.page(w, r, templates.AtNowhere, templates.TitlePhotos)
	p.Job = d.Job.ID
	v := templates.NewPhotosView(p, d.places())
	v.ID, v.Base, v.Car, v.CanAdd, v.Entry = d.Job.ID, d.base(), carName(d.Vehicle), d.open(), store.NewID()
	v.Where.Value = r.URL.Query().Get("at")
	v.Pairs, v.Photos = d.photoViews(func(store.Photo) bool { return true })
	return v
}

// photoViews lists photos and sets before beside after.
func (d *desk) photoViews(want func(store.Photo) bool) (pairs []templates.PhotoPair, lines []templates.PhotoLine) {
	at := map[string]int{}
	for _, p := range d.Photos {
		if !want(p) {
			continue
		}
		name := templates.SubjectWord(d.l, p.Subject)
		if where := d.spotWords(p.Bank, p.Position); where != "" {
			name += ", " + where
		}
		l := templates.PhotoLine{ID: p.ID, Name: name, Words: p.Words, Who: p.ByName, When: d.clock.moment(p.At), Width: p.Width, Height: p.Height, CanRemove: d.open()}
		if p.Moment != "" {
			i, ok := at[name]
			if !ok {
				i = len(pairs)
				at[name] = i
				pairs = append(pairs, templates.PhotoPair{Name: name})
			}
			if p.Moment == "before" && pairs[i].Before == nil {
				pairs[i].Before = &l
			}
			if p.Moment == "after" { // the latest one
				pairs[i].After = &l
			}
		}
		full := l
		if m := templates.MomentWord(d.l, p.Moment); m != "" {
			full.Name += ", " + m
		}
		lines = append(lines, full)
	}
	return pairs, lines
}

// addPhoto keeps a photo that comes as a form with a file, from a page or an outbox.
func (s *server) addPhoto(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	fields, file, err := readUpload(r)
	if err != nil {
		return err
	}
	who := viewer(r)
	if p := fields.Get("person"); p != "" && p != strconv.FormatInt(who.PersonID, 10) {
		return trouble(templates.TroubleConflict, templates.SayOtherPerson)
	}
	v := s.photosView(w, r, d)
	f := form{r: (&http.Request{PostForm: fields, Form: fields}).WithContext(r.Context())}
	n := store.NewPhoto{ID: fields.Get("id"), JobID: d.Job.ID, MediaType: "image/jpeg"}
	if n.ID == "" {
		n.ID = store.NewID()
	}
	n.Subject, n.Moment, n.Words = f.choice(&v.Subject), f.choice(&v.Moment), f.text(&v.Words, 2000)
	n.Bank, n.Position, _ = placeIn(f.choice(&v.Where))
	t := taking{server: s, ctx: r.Context(), who: who, now: s.now()}
	if clock, err := time.Parse(time.RFC3339, fields.Get("clock")); err == nil {
		t.skew = t.now.Sub(clock)
	}
	at, _ := time.Parse(time.RFC3339, fields.Get("at")) // zero is now
	n.ClientAt = t.at(item{At: at})
	fresh, kind := false, "invalid"
	photoField := &templates.Field{Name: "file", Label: templates.PhotoLabel}
	if !f.bad() {
		fresh, kind, err = s.keepPhoto(r, &f, photoField, n, file)
		if err != nil {
			return err
		}
	}
	if wantsJSON(r) {
		res := result{ID: n.ID, State: itemAlready}
		if fresh {
			res.State = itemArrived
		}
		if f.bad() {
			res.State, res.Kind = itemRefused, kind
			for _, p := range f.problems {
				res.Problems = append(res.Problems, toldOf(tongue(r), p))
			}
		}
		writeJSON(w, http.StatusOK, map[string]any{"now": s.now(), "results": []result{res}})
		return nil
	}
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.Photos(v))
	}
	return see(w, r, d.base()+"/photos")
}

// keepPhoto decodes and stores a photo, one at a time: each takes much memory.
func (s *server) keepPhoto(r *http.Request, f *form, fd *templates.Field, n store.NewPhoto, file sentFile) (fresh bool, kind string, err error) {
	if file.tooLarge {
		f.wrong(fd, templates.SayPhotoTooLarge(tongue(r), photoMaxBytes>>20))
		return false, "invalid", nil
	}
	select {
	case s.darkroom <- struct{}{}:
		defer func() { <-s.darkroom }()
	case <-r.Context().Done():
		return false, "", r.Context().Err()
	}
	p, err := readPhoto(tongue(r), file.data)
	if e, ok := errors.AsType[*photoError](err); ok {
		f.wrong(fd, templates.Mend(*e))
		return false, "invalid", nil
	}
	if err != nil {
		return false, "", err
	}
	n.Data, n.Thumb, n.Width, n.Height = p.data, p.thumb, p.width, p.height
	fresh, err = s.store.AddPhoto(r.Context(), viewer(r).PersonID, n)
	if e, ok := errors.AsType[*store.Error](err); ok && closedRules[e.Constraint] {
		f.wrong(nil, templates.SayClosedMeanwhile)
		return false, "closed", nil
	}
	if err != nil && !f.take(err) {
		return false, "", err
	}
	return fresh, "conflict", nil
}

// sentFile is a file as it came.
type sentFile struct {
	data     []byte
	tooLarge bool
}

// readUpload reads a form with a file. What is too large is read to its end and thrown
// away, so that the sender hears the answer.
func readUpload(r *http.Request) (url.Values, sentFile, error) {
	fields, file := url.Values{}, sentFile{}
	mr, err := r.MultipartReader()
	if err != nil {
		return nil, file, trouble(templates.TroubleInvalid, "")
	}
	for {
		part, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			return fields, file, nil
		}
		if err != nil {
			return nil, file, badUpload(err)
		}
		if part.FormName() != "file" {
			b, err := io.ReadAll(io.LimitReader(part, formLimit))
			if err != nil {
				return nil, file, badUpload(err)
			}
			fields.Add(part.FormName(), string(b))
			continue
		}
		b, err := io.ReadAll(io.LimitReader(part, photoMaxBytes+1))
		if err != nil {
			return nil, file, badUpload(err)
		}
		if file.data = b; len(b) > photoMaxBytes {
			file.data, file.tooLarge = nil, true
			if _, err := io.Copy(io.Discard, part); err != nil {
				return nil, file, badUpload(err)
			}
		}
	}
}

func badUpload(err error) error {
	if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
		return err
	}
	return trouble(templates.TroubleInvalid, templates.SayUploadBroken)
}

func (s *server) photoFull(w http.ResponseWriter, r *http.Request) error {
	p, err := s.store.PhotoData(r.Context(), chi.URLParam(r, "photo"))
	return sendPhoto(w, r, p, err)
}

func (s *server) photoThumb(w http.ResponseWriter, r *http.Request) error {
	p, err := s.store.PhotoThumb(r.Context(), chi.URLParam(r, "photo"))
	return sendPhoto(w, r, p, err)
}

// sendPhoto sends a picture that never changes under its address.
func sendPhoto(w http.ResponseWriter, r *http.Request, p store.PhotoData, err error) error {
	if err != nil {
		if e, ok := errors.AsType[*store.Error](err); ok && e.Kind == store.Rule { // an address that is no UUID
			return trouble(templates.TroubleNotFound, "")
		}
		return err
	}
	h := w.Header()
	h.Set("Content-Type", p.MediaType)
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	h.Set("Content-Length", strconv.Itoa(len(p.Data)))
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	if r.Method != http.MethodHead {
		_, _ = w.Write(p.Data) // the reader may have gone
	}
	return nil
}

func (s *server) removePhoto(w http.ResponseWriter, r *http.Request) error {
	id, err := idIn(r, "job")
	if err != nil {
		return err
	}
	if err := s.store.RemovePhoto(r.Context(), viewer(r).PersonID, id, chi.URLParam(r, "photo"), r.PostFormValue("why")); err != nil {
		return err
	}
	return see(w, r, fmt.Sprintf("/jobs/%d/photos", id))
}
