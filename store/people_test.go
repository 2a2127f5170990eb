package store_test

import (
	"crypto/sha256"
	"sync"
	"testing"
	"time"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

const phc = "$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$aGFzaGhhc2g"

func hash(s string) []byte { h := sha256.Sum256([]byte(s)); return h[:] }

func TestPeople(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()

	t.Run("a log-in name is found whatever its case, and taken once", func(t *testing.T) {
		p := factory.Person(t, st, store.Writer, func(p *store.NewPerson) { p.Login = " Ångström " })
		got := get[store.Person](t)(st.PersonByLogin(ctx, "ÅNGSTRÖM"))
		if got.ID != p.ID || got.Login != "ångström" {
			t.Errorf("got %+v", got)
		}
		_, err := st.AddPerson(ctx, owner, store.NewPerson{Name: "Other", Login: "ångström", Role: store.Writer})
		refused(t, err, store.Conflict, "people_login_once")
		_, err = st.PersonByLogin(ctx, "nobody")
		refused(t, err, store.NotFound, "")
	})

	t.Run("a new password signs the person out everywhere", func(t *testing.T) {
		p := factory.Person(t, st, store.Technician)
		ok(t, st.StartSession(ctx, store.NewSession{ID: "s1", SecretHash: hash("a"), PersonID: p.ID, ExpiresAt: time.Now().Add(time.Hour)}))
		ok(t, st.SetPassword(ctx, owner, p.ID, phc))
		_, err := st.SessionByID(ctx, "s1")
		refused(t, err, store.NotFound, "")
		if got := get[store.Person](t)(st.Person(ctx, p.ID)); *got.PasswordHash != phc {
			t.Errorf("got %+v", got)
		}
	})

	t.Run("a rehash does not undo a newer password", func(t *testing.T) {
		p := factory.Person(t, st, store.Technician, func(p *store.NewPerson) { p.PasswordHash = phc })
		ok(t, st.RehashPassword(ctx, p.ID, phc+"old", phc+"new"))
		if got := get[store.Person](t)(st.Person(ctx, p.ID)); *got.PasswordHash != phc {
			t.Errorf("got %s", *got.PasswordHash)
		}
		ok(t, st.RehashPassword(ctx, p.ID, phc, phc+"new"))
		if got := get[store.Person](t)(st.Person(ctx, p.ID)); *got.PasswordHash != phc+"new" {
			t.Errorf("got %s", *got.PasswordHash)
		}
	})

	t.Run("a person who is retired is signed out and cannot come back in", func(t *testing.T) {
		p := factory.Person(t, st, store.Technician)
		ok(t, st.StartSession(ctx, store.NewSession{ID: "s2", SecretHash: hash("a"), PersonID: p.ID, ExpiresAt: time.Now().Add(time.Hour)}))
		p.Active = false
		ok(t, st.UpdatePerson(ctx, owner, p))
		ok(t, st.StartSession(ctx, store.NewSession{ID: "s3", SecretHash: hash("a"), PersonID: p.ID, ExpiresAt: time.Now().Add(time.Hour)}))
		for _, id := range []string{"s2", "s3"} {
			_, err := st.SessionByID(ctx, id)
			refused(t, err, store.NotFound, "")
		}
	})

	t.Run("of two owners who retire each other one stays", func(t *testing.T) {
		st, a := open(t)
		b := factory.Person(t, st, store.Owner)
		pa := get[store.Person](t)(st.Person(ctx, a))
		pa.Active, b.Active = false, false
		var wg sync.WaitGroup
		errs := make([]error, 2)
		for i, p := range []store.Person{pa, b} {
			wg.Go(func() { errs[i] = st.UpdatePerson(ctx, a, p) })
		}
		wg.Wait()
		if (errs[0] == nil) == (errs[1] == nil) {
			t.Errorf("got %v and %v", errs[0], errs[1])
		}
		if there := get[bool](t)(st.HasOwner(ctx)); !there {
			t.Error("no owner is left")
		}
	})
}

func TestSessions(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	start := time.Now().UTC().Truncate(time.Microsecond)

	t.Run("lives until it runs out and is moved on by use", func(t *testing.T) {
		ok(t, st.At(start).StartSession(ctx, store.NewSession{ID: "a", SecretHash: hash("x"), PersonID: owner, ExpiresAt: start.Add(time.Hour), UserAgent: "tablet"}))
		s := get[store.SignedIn](t)(st.At(start.Add(59*time.Minute)).SessionByID(ctx, "a"))
		if s.PersonID != owner || s.Role != store.Owner || string(s.SecretHash) != string(hash("x")) {
			t.Errorf("got %+v", s)
		}
		_, err := st.At(start.Add(time.Hour)).SessionByID(ctx, "a")
		refused(t, err, store.NotFound, "")
		ok(t, st.At(start.Add(59*time.Minute)).TouchSession(ctx, "a", start.Add(2*time.Hour)))
		get[store.SignedIn](t)(st.At(start.Add(time.Hour)).SessionByID(ctx, "a"))
	})

	t.Run("a new one replaces the old one", func(t *testing.T) {
		ok(t, st.StartSession(ctx, store.NewSession{ID: "b", SecretHash: hash("y"), PersonID: owner, ExpiresAt: start.Add(time.Hour), Replaces: "a"}))
		live := get[[]store.Session](t)(st.SessionsOf(ctx, owner))
		if len(live) != 1 || live[0].ID != "b" {
			t.Errorf("got %+v", live)
		}
		ok(t, st.EndSession(ctx, "b"))
		ok(t, st.EndSession(ctx, "b"))
		if live := get[[]store.Session](t)(st.SessionsOf(ctx, owner)); len(live) != 0 {
			t.Errorf("got %+v", live)
		}
	})

	t.Run("a sweep takes what has run out and nothing else", func(t *testing.T) {
		db := storetest.DB(t)
		st := store.New(db)
		p := factory.Person(t, st, store.Owner)
		for i, life := range []time.Duration{time.Minute, time.Hour} {
			id := string(rune('a' + i))
			ok(t, st.At(start).StartSession(ctx, store.NewSession{ID: id, SecretHash: hash(id), PersonID: p.ID, ExpiresAt: start.Add(life)}))
			ok(t, st.At(start).AddLink(ctx, 0, []string{store.LinkPassword, store.LinkFirstOwner}[i], []int64{p.ID, 0}[i], hash(id), start.Add(life)))
			ok(t, st.At(start.Add(-life)).RecordAttempt(ctx, "x", "y", false))
		}
		ok(t, st.At(start.Add(time.Minute)).Sweep(ctx, 30*time.Minute))
		for _, table := range []string{"sessions", "one_time_links", "login_attempts"} {
			var n int
			ok(t, db.QueryRow(ctx, `SELECT count(*) FROM `+table).Scan(&n))
			if n != 1 {
				t.Errorf("%s: %d left", table, n)
			}
		}
	})
}

func TestLinks(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	later := time.Now().Add(time.Hour)

	t.Run("a first-owner link makes one owner", func(t *testing.T) {
		ok(t, st.AddLink(ctx, 0, store.LinkFirstOwner, 0, hash("first"), later))
		p, err := st.AddFirstOwner(ctx, hash("first"), store.NewPerson{Name: "Ash", Login: "ash", PasswordHash: phc})
		ok(t, err)
		if p.Role != store.Owner {
			t.Errorf("got %+v", p)
		}
		_, err = st.AddFirstOwner(ctx, hash("first"), store.NewPerson{Name: "Eve", Login: "eve", PasswordHash: phc})
		refused(t, err, store.NotFound, "")
	})
	t.Run("a form that is refused does not spend the link", func(t *testing.T) {
		ok(t, st.AddLink(ctx, 0, store.LinkFirstOwner, 0, hash("second"), later))
		_, err := st.AddFirstOwner(ctx, hash("second"), store.NewPerson{Name: "Ash", Login: "ash", PasswordHash: phc})
		refused(t, err, store.Conflict, "people_login_once")
		get[store.OneTimeLink](t)(st.Link(ctx, hash("second")))
	})
	t.Run("a password link sets one password, and a newer link ends it", func(t *testing.T) {
		p := factory.Person(t, st, store.Writer)
		ok(t, st.AddLink(ctx, owner, store.LinkPassword, p.ID, hash("old"), later))
		ok(t, st.AddLink(ctx, owner, store.LinkPassword, p.ID, hash("new"), later))
		_, err := st.SetPasswordByLink(ctx, hash("old"), phc)
		refused(t, err, store.NotFound, "")
		got, err := st.SetPasswordByLink(ctx, hash("new"), phc)
		ok(t, err)
		if got.ID != p.ID || *got.PasswordHash != phc {
			t.Errorf("got %+v", got)
		}
		_, err = st.SetPasswordByLink(ctx, hash("new"), phc)
		refused(t, err, store.NotFound, "")
	})
	t.Run("a link that has run out does nothing", func(t *testing.T) {
		p := factory.Person(t, st, store.Writer)
		ok(t, st.AddLink(ctx, owner, store.LinkPassword, p.ID, hash("late"), later))
		_, err := st.At(later).SetPasswordByLink(ctx, hash("late"), phc)
		refused(t, err, store.NotFound, "")
	})
	t.Run("of two who use a link at once one succeeds", func(t *testing.T) {
		p := factory.Person(t, st, store.Writer)
		ok(t, st.AddLink(ctx, owner, store.LinkPassword, p.ID, hash("race"), later))
		var wg sync.WaitGroup
		errs := make([]error, 2)
		for i := range errs {
			wg.Go(func() { _, errs[i] = st.SetPasswordByLink(ctx, hash("race"), phc) })
		}
		wg.Wait()
		if (errs[0] == nil) == (errs[1] == nil) {
			t.Errorf("got %v and %v", errs[0], errs[1])
		}
	})
}

func TestAttempts(t *testing.T) {
	st, _ := open(t)
	ctx := t.Context()
	start := time.Now()
	at := func(m int) *store.Store { return st.At(start.Add(time.Duration(m) * time.Minute)) }
	for m, a := range []struct {
		login, address string
		ok             bool
	}{{"ash", "a", false}, {"ash", "a", false}, {"Ash", "b", false}, {"eve", "a", false}, {"ash", "b", true}, {"ASH", "a", false}} {
		ok(t, at(m).RecordAttempt(ctx, a.login, a.address, a.ok))
	}
	t.Run("counts by name since the last success and by address", func(t *testing.T) {
		got := get[store.Failures](t)(st.FailedAttempts(ctx, "ash", "a", start.Add(-time.Minute)))
		if got != (store.Failures{Login: 1, Address: 4}) {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("counts only since the time asked for", func(t *testing.T) {
		got := get[store.Failures](t)(st.FailedAttempts(ctx, "eve", "a", start.Add(2*time.Minute)))
		if got != (store.Failures{Login: 1, Address: 2}) {
			t.Errorf("got %+v", got)
		}
	})
}

func TestShop(t *testing.T) {
	st := store.New(storetest.DB(t))
	t.Run("is not there before it is set up", func(t *testing.T) {
		_, err := st.Shop(t.Context())
		refused(t, err, store.NotFound, "")
	})
	t.Run("is one, however often it is saved", func(t *testing.T) {
		factory.Shop(t, st)
		want := factory.Shop(t, st, func(s *store.Shop) { s.Name, s.Currency, s.Cautions = "Mill Road Garage", "EUR", "Mind the step." })
		got := get[store.Shop](t)(st.Shop(t.Context()))
		got.ChangedAt = want.ChangedAt
		if got != want {
			t.Errorf("got %+v", got)
		}
	})
}
