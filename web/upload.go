package web

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/go-chi/chi/v5"

	"crosscount/diag/obd"
	"crosscount/diag/signal"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	uploadMaxBytes = store.MaxFile + 2<<20 // the file and the form around it
	uploadTime     = 30 * time.Minute      // 200 MB over the bay's Wi-Fi
	pastedBack     = 1 << 20               // bytes of pasted text that come back when refused
	headLooked     = 256 << 10             // bytes looked at to tell what a file is
)

// upload is what was sent, set aside on disk so that neither memory nor a
// connection to the database waits for a slow line.
type upload struct {
	name, mediaType string
	file            *os.File
	size            int64
	sum             [sha256.Size]byte
	fields          map[string]string
	pasted          bool
}

func (u *upload) drop() {
	if u.file != nil {
		u.file.Close()
		os.Remove(u.file.Name())
	}
}

var errFileTooLarge = errors.New("the file is too large")

// receive reads a multipart form with at most one file, or pasted text in its
// place. The upload is to be dropped, also after an error.
func receive(r *http.Request) (*upload, error) {
	u := &upload{fields: map[string]string{}}
	parts, err := r.MultipartReader()
	if err != nil {
		return u, trouble(templates.TroubleInvalid, "")
	}
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return u, nil
		}
		if err != nil {
			return u, sendingBroke(err)
		}
		switch name := p.FormName(); name {
		case "file", "text":
			err = u.spool(p, name == "text")
		default:
			var b []byte
			b, err = io.ReadAll(io.LimitReader(p, formLimit))
			u.fields[name] = string(b)
		}
		if err != nil {
			return u, err
		}
	}
}

func sendingBroke(err error) error {
	if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
		return errFileTooLarge
	}
	return trouble(templates.TroubleInvalid, "")
}

// spool sets a part aside. A chosen file counts more than pasted text; an empty part
// counts nothing.
func (u *upload) spool(p *multipart.Part, pasted bool) error {
	f, err := os.CreateTemp("", "crosscount-upload-*")
	if err != nil {
		return fmt.Errorf("set an upload aside: %w", err)
	}
	sum := sha256.New()
	into := &diskWriter{f: f}
	size, err := io.Copy(io.MultiWriter(into, sum), p)
	if err == nil && size > 0 && !(pasted && u.file != nil) && !(pasted && blank(f, size)) {
		u.drop()
		u.name, u.mediaType, u.file, u.size, u.pasted = fileName(p.FileName(), pasted), mediaType(p.Header.Get("Content-Type"), pasted), f, size, pasted
		sum.Sum(u.sum[:0])
		return nil
	}
	f.Close()
	os.Remove(f.Name())
	if into.err != nil {
		return fmt.Errorf("set an upload aside: %w", into.err)
	}
	if err != nil {
		return sendingBroke(err)
	}
	return nil
}

// diskWriter tells a full disk from a broken line.
type diskWriter struct {
	f   *os.File
	err error
}

func (d *diskWriter) Write(p []byte) (int, error) {
	n, err := d.f.Write(p)
	d.err = err
	return n, err
}

// blank says that pasted text holds nothing but white space.
func blank(f *os.File, size int64) bool {
	b := make([]byte, min(size, headLooked))
	n, _ := f.ReadAt(b, 0)
	return size <= headLooked && len(bytes.TrimSpace(b[:n])) == 0
}

func fileName(sent string, pasted bool) string {
	if pasted {
		return "pasted.txt"
	}
	name := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(path.Base(strings.ReplaceAll(sent, `\`, "/")), "\uFFFD"))
	if r := []rune(name); len(r) > 200 {
		name = string(r[:150]) + "…" + string(r[len(r)-49:])
	}
	if name = strings.TrimSpace(name); name == "" || name == "." || name == "/" {
		return "recording.txt"
	}
	return name
}

var mediaTypeForm = regexp.MustCompile(`^[a-zA-Z0-9.+-]+/[a-zA-Z0-9.+-]+$`)

func mediaType(sent string, pasted bool) string {
	t, _, err := mime.ParseMediaType(sent)
	if pasted || err != nil || !mediaTypeForm.MatchString(t) || len(t) > 200 {
		return "text/plain"
	}
	return t
}

// What a file holds.
const (
	asTable     = "table"
	asResponses = "responses"
)

// kindOfFile tells a table of numbers from what a car answered. want is what the
// person says it is; empty finds out. The error tells why it is neither, with the
// line.
func kindOfFile(f io.ReadSeeker, want string) (string, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	answers, notAnswers := obd.Decode(io.LimitReader(f, headLooked))
	if _, bad := errors.AsType[*obd.Error](notAnswers); notAnswers != nil && !bad {
		return "", notAnswers
	}
	if want == asResponses {
		return asResponses, notAnswers
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	_, _, notTable := signal.Sniff(f)
	if _, bad := errors.AsType[*signal.Problem](notTable); notTable != nil && !bad {
		return "", notTable
	}
	answered := notAnswers == nil && answers.Messages > 0
	switch {
	case want == asTable:
		return asTable, notTable
	// Rows of numbers parted by commas may look like bytes behind a time stamp.
	case answered && (notTable != nil || !separated(f) && answers.Messages*4 >= answers.Lines):
		return asResponses, nil
	}
	return asTable, notTable
}

// separated says that most lines at the beginning are parted by signs that no answer
// of a car has.
func separated(f io.ReadSeeker) bool {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return false
	}
	head, _ := io.ReadAll(io.LimitReader(f, 4<<10)) // an error shows when the whole is read
	lines, parted := 0, 0
	for line := range bytes.Lines(head) {
		lines++
		if bytes.ContainsAny(line, ",;|\t") {
			parted++
		}
	}
	return parted*2 > lines
}

// unreadable puts why a file cannot be read into words for the form.
func unreadable(l *lang.Language, err error) (templates.Mend, bool) {
	if p, ok := errors.AsType[*signal.Problem](err); ok {
		return templates.Mend{Reason: templates.RefusedFileWords(l, p.Line, l.Say(p.What)), Mend: sentence(l, p.Mend)}, true
	}
	if e, ok := errors.AsType[*obd.Error](err); ok {
		return templates.Mend{Reason: templates.RefusedFileWords(l, e.Line, l.Say(e.Problem)), Mend: sentence(l, e.Mend)}, true
	}
	return templates.Mend{}, false
}

func (d *desk) uploadForm() *templates.UploadForm {
	f := templates.NewUploadForm()
	f.Action, f.ID = d.base()+"/files", store.NewID()
	return &f
}

// takeFile keeps a file with a job, unchanged, and goes on to how it is read. What no
// way of reading can make sense of is not kept.
func (s *server) takeFile(w http.ResponseWriter, r *http.Request) error {
	control, until := http.NewResponseController(w), time.Now().Add(uploadTime)
	if err := errors.Join(control.SetReadDeadline(until), control.SetWriteDeadline(until)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return fmt.Errorf("waiting for an upload: %w", err)
	}
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	u, err := receive(r) // to its end, so that the sender hears the answer
	defer u.drop()
	form := d.uploadForm()
	form.ID = cmp.Or(u.fields["id"], form.ID)
	form.What.Value = u.fields["as"]
	tell := func(res result) error {
		res.ID = form.ID
		writeJSON(w, http.StatusOK, map[string]any{"now": s.now(), "results": []result{res}})
		return nil
	}
	who := viewer(r)
	switch p := u.fields["person"]; {
	case p != "" && p != strconv.FormatInt(who.PersonID, 10):
		return trouble(templates.TroubleConflict, templates.SayOtherPerson)
	case !d.open() && wantsJSON(r):
		return tell(refusedFor(d.l, "closed", "", templates.SayClosedMeanwhile))
	case !d.open():
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	refused := func(fd *templates.Field, m templates.Mend) error {
		if wantsJSON(r) {
			return tell(refusedItem("invalid", toldOf(d.l, templates.Problem{Field: fd.Name, Label: fd.Label, Mend: m})))
		}
		fd.Error = &m
		form.Refusal = &templates.Refusal{Problems: []templates.Problem{{Field: fd.Name, Label: fd.Label, Mend: m}}}
		return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Upload = form })
	}
	switch {
	case errors.Is(err, errFileTooLarge) || u.size > store.MaxFile:
		return refused(&form.File, templates.SayFileTooLarge)
	case err != nil:
		return err
	case u.file == nil:
		return refused(&form.File, templates.SayNoFile)
	}
	fd := &form.File
	if u.pasted {
		fd = &form.Text
		if u.size <= pastedBack {
			b := make([]byte, u.size)
			n, _ := u.file.ReadAt(b, 0)
			fd.Value = strings.ToValidUTF8(string(b[:n]), "\uFFFD")
		}
	}
	kind, err := kindOfFile(u.file, form.What.Value)
	if m, ok := unreadable(tongue(r), err); ok {
		return refused(fd, m)
	} else if err != nil {
		return err
	}
	if _, err := u.file.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("read an upload back: %w", err)
	}
	id, fresh, err := s.keepFile(r.Context(), who.PersonID, store.NewFile{ID: form.ID, JobID: d.Job.ID, Name: u.name, MediaType: u.mediaType}, u)
	if err != nil {
		if e, ok := errors.AsType[*store.Error](err); ok && e.Kind == store.Rule {
			return refused(fd, templates.Mend{Reason: e.Sentence})
		}
		return err
	}
	href := d.base() + "/files/" + id + "?as=" + kind
	if wantsJSON(r) {
		res := result{State: itemAlready, Href: href}
		if fresh {
			res.State = itemArrived
		}
		return tell(res)
	}
	return see(w, r, href)
}

// keepFile keeps a file and returns its id. The same content is kept once in a job;
// fresh is false if it was there before.
func (s *server) keepFile(ctx context.Context, by int64, n store.NewFile, u *upload) (id string, fresh bool, err error) {
	known := func() (string, error) {
		files, err := s.store.Files(ctx, n.JobID)
		if err != nil {
			return "", err
		}
		for _, f := range files {
			if string(f.SHA256) == string(u.sum[:]) {
				return f.ID, nil
			}
		}
		return "", nil
	}
	if id, err := known(); id != "" || err != nil {
		return id, false, err
	}
	f, err := s.store.AddFile(ctx, by, n, u.file)
	if e, ok := errors.AsType[*store.Error](err); ok && e.Kind == store.Conflict {
		if id, again := known(); id != "" && again == nil { // sent twice at once
			return id, false, nil
		}
	}
	return f.ID, true, err
}

var idForm = regexp.MustCompile(`^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$`)

// fileOf loads the job and the file a request is about.
func (s *server) fileOf(r *http.Request) (*desk, store.File, *io.SectionReader, error) {
	id := chi.URLParam(r, "file")
	d, err := s.plainDesk(r)
	if err != nil {
		return nil, store.File{}, nil, err
	}
	if !idForm.MatchString(id) {
		return nil, store.File{}, nil, trouble(templates.TroubleNotFound, "")
	}
	f, content, err := s.store.OpenFile(r.Context(), id)
	if err == nil && f.JobID != d.Job.ID {
		err = trouble(templates.TroubleNotFound, "")
	}
	return d, f, content, err
}

// plainDesk loads the job a request is about without weighing it.
func (s *server) plainDesk(r *http.Request) (*desk, error) {
	id, err := idIn(r, "job")
	if err != nil {
		return nil, err
	}
	shop, _, err := s.shop(r.Context())
	if err != nil {
		return nil, err
	}
	return s.unweighed(r.Context(), id, shop)
}

// original sends a file as it came.
func (s *server) original(w http.ResponseWriter, r *http.Request) error {
	_, f, content, err := s.fileOf(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": f.Name}))
	w.Header().Set("ETag", `"`+hex.EncodeToString(f.SHA256)+`"`)
	http.ServeContent(w, r, "", f.At, content)
	return nil
}

func (d *desk) fileFacts(f store.File, by string) templates.FileFacts {
	return templates.FileFacts{Name: f.Name, Size: sizeWords(f.Size), SHA256: hex.EncodeToString(f.SHA256), When: d.clock.moment(f.At), Who: by,
		Original: d.base() + "/files/" + f.ID + "/original"}
}

func sizeWords(n int64) string {
	switch {
	case n >= 1<<20:
		return fmt.Sprintf("%.1f MB", float64(n)/(1<<20))
	case n >= 1<<10:
		return fmt.Sprintf("%.0f kB", float64(n)/(1<<10))
	}
	return fmt.Sprintf("%d bytes", n)
}
