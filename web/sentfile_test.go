package web

import (
	"bytes"
	"encoding/json"
	"mime/multipart"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"crosscount/store"
)

// queued sends a recording as an outbox does.
func (b *browser) queued(job, person int64, id, content string) (answer, result) {
	b.rig.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for k, v := range map[string]string{"id": id, "person": strconv.FormatInt(person, 10), "as": ""} {
		if err := m.WriteField(k, v); err != nil {
			b.rig.t.Fatal(err)
		}
	}
	part, err := m.CreateFormFile("file", "warm.csv")
	if err == nil {
		_, err = part.Write([]byte(content))
	}
	if err != nil || m.Close() != nil {
		b.rig.t.Fatal(err)
	}
	a := b.do(http.MethodPost, at(job, "/files"), &body, func(r *http.Request) {
		r.Header.Set("Content-Type", m.FormDataContentType())
		r.Header.Set("Accept", "application/json")
	})
	var out sentAnswer
	if a.status == http.StatusOK {
		if err := json.Unmarshal([]byte(a.body), &out); err != nil || len(out.Results) != 1 {
			b.rig.t.Fatalf("%v: %s", err, a.body)
		}
		return a, out.Results[0]
	}
	return a, result{}
}

func TestQueuedRecording(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	me := r.people[store.Technician].ID
	job := r.job()

	t.Run("is kept once, however often it is sent, and says where it is looked at", func(t *testing.T) {
		id := store.NewID()
		_, first := b.queued(job, me, id, swing(5))
		_, again := b.queued(job, me, id, swing(5))
		_, same := b.queued(job, me, store.NewID(), swing(5))
		if first.State != itemArrived || again.State != itemAlready || same.State != itemAlready || len(r.files(job)) != 1 {
			t.Fatalf("%+v, %+v, %+v, %d files", first, again, same, len(r.files(job)))
		}
		for _, res := range []result{first, again, same} {
			b.get(res.Href).want(t, 200, "warm.csv", "How it is read")
		}
	})
	t.Run("that nobody can read comes back with the field, the reason and the mend", func(t *testing.T) {
		_, res := b.queued(job, me, store.NewID(), "nothing of use")
		if res.State != itemRefused || len(res.Problems) != 1 || res.Problems[0].Field != "file" || res.Problems[0].Reason == "" || res.Problems[0].Mend == "" {
			t.Errorf("%+v", res)
		}
		if _, res = b.queued(job, me, store.NewID(), ""); res.State != itemRefused {
			t.Errorf("an empty one: %+v", res)
		}
	})
	t.Run("of somebody else waits for that person", func(t *testing.T) {
		if a, _ := b.queued(job, r.people[store.Owner].ID, store.NewID(), swing(6)); a.status != http.StatusConflict {
			t.Errorf("status %d", a.status)
		}
	})
	t.Run("of a job closed meanwhile is refused for good", func(t *testing.T) {
		if err := r.store.CancelJob(t.Context(), r.people[store.Writer].ID, job, "the customer fetched the car"); err != nil {
			t.Fatal(err)
		}
		_, res := b.queued(job, me, store.NewID(), swing(7))
		if res.State != itemRefused || res.Kind != "closed" || !strings.Contains(res.Problems[0].Reason, "closed") {
			t.Errorf("%+v", res)
		}
	})
}
