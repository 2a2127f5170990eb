package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"crosscount/store"
)

func TestLogIn(t *testing.T) {
	r := newRig(t)
	t.Run("lets in who knows the password, whatever the case of the name", func(t *testing.T) {
		b := r.nobody()
		a := b.post("/login", url.Values{"login": {"  OLGA "}, "password": {password}, "next": {"/people"}})
		if a.status != http.StatusSeeOther || a.location != "/people" {
			t.Fatalf("status %d to %q", a.status, a.location)
		}
		b.get("/").want(t, 200, "Olga Owner")
	})
	t.Run("opens what came back for the owner, whose move it is for the others", func(t *testing.T) {
		for login, first := range map[string]string{"olga": "/lookback", "tomas": "/"} {
			if a := r.nobody().post("/login", url.Values{"login": {login}, "password": {password}}); a.location != first {
				t.Errorf("%s is led to %q, want %q", login, a.location, first)
			}
		}
	})
	t.Run("keeps the name and never the password when it refuses", func(t *testing.T) {
		a := r.nobody().post("/login", url.Values{"login": {"olga"}, "password": {"wrong words here"}})
		a.want(t, 422, `value="olga"`, "do not belong together").lacks(t, "wrong words here")
	})
	t.Run("says the same of an unknown name as of a wrong password", func(t *testing.T) {
		known := plainText(r.nobody().post("/login", url.Values{"login": {"tomas"}, "password": {"no"}}).body)
		unknown := plainText(r.nobody().post("/login", url.Values{"login": {"nobody"}, "password": {"no"}}).body)
		if known != unknown {
			t.Errorf("the answers differ:\n%s\n%s", known, unknown)
		}
	})
	t.Run("sends nobody to another site afterwards", func(t *testing.T) {
		for _, next := range []string{"//elsewhere.example/", "https://elsewhere.example/", `/\elsewhere.example`, "javascript:alert(1)"} {
			a := r.nobody().post("/login", url.Values{"login": {"tomas"}, "password": {password}, "next": {next}})
			if a.location != "/" {
				t.Errorf("next %q leads to %q", next, a.location)
			}
		}
	})
	t.Run("changes the session id and secret, and the old one is worth nothing", func(t *testing.T) {
		b := r.as(store.Writer)
		before := b.cookie(sessionCookie)
		b.post("/login", url.Values{"login": {"olga"}, "password": {password}})
		after := b.cookie(sessionCookie)
		if before == after || strings.Split(before, ".")[0] == strings.Split(after, ".")[0] {
			t.Fatal("the session was not changed")
		}
		old := r.nobody().do(http.MethodGet, "/", nil, func(q *http.Request) { q.AddCookie(&http.Cookie{Name: sessionCookie, Value: before}) })
		if old.status != http.StatusSeeOther {
			t.Errorf("the old session still opens the page: %d", old.status)
		}
	})
	t.Run("keeps only a hash of the secret", func(t *testing.T) {
		b := r.as(store.Writer)
		id, secret, _ := strings.Cut(b.cookie(sessionCookie), ".")
		s, err := r.store.SessionByID(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if string(s.SecretHash) != string(hashSecret(secret)) || strings.Contains(string(s.SecretHash), secret) {
			t.Error("what is kept is not the secret's hash")
		}
		forged := r.nobody().do(http.MethodGet, "/", nil, func(q *http.Request) {
			q.AddCookie(&http.Cookie{Name: sessionCookie, Value: id + "." + newSecret()})
		})
		if forged.status != http.StatusSeeOther {
			t.Errorf("an id with another secret opens the page: %d", forged.status)
		}
	})
	t.Run("marks its cookie so that no script and no other site's form can use it", func(t *testing.T) {
		a := r.nobody().post("/login", url.Values{"login": {"olga"}, "password": {password}})
		c := a.header.Get("Set-Cookie")
		for _, want := range []string{"HttpOnly", "SameSite=Lax", "Path=/"} {
			if !strings.Contains(c, want) {
				t.Errorf("%q lacks %s", c, want)
			}
		}
	})
	t.Run("ends at log-out on the server too", func(t *testing.T) {
		b := r.as(store.Technician)
		old := b.cookie(sessionCookie)
		b.post("/logout", nil).want(t, 303)
		a := r.nobody().do(http.MethodGet, "/", nil, func(q *http.Request) { q.AddCookie(&http.Cookie{Name: sessionCookie, Value: old}) })
		if a.status != http.StatusSeeOther {
			t.Errorf("the session lives on: %d", a.status)
		}
	})
	t.Run("lets a late answer to the last person's request leave the next one logged in", func(t *testing.T) {
		b := r.as(store.Owner)
		old := b.cookie(sessionCookie)
		b.post("/logout", nil).want(t, 303)
		b.post("/login", url.Values{"login": {"tomas"}, "password": {password}}).want(t, 303)
		late := b.do(http.MethodGet, "/api/jobs/1", nil, func(q *http.Request) {
			q.Header.Set("Cookie", sessionCookie+"="+old)
		})
		if set := late.header.Values("Set-Cookie"); len(set) > 0 {
			t.Errorf("it sets %q", set)
		}
		b.get("/me").want(t, 200)
	})

	t.Run("lets nobody in who no longer works here", func(t *testing.T) {
		b := r.as(store.Writer)
		p := r.people[store.Writer]
		p.Active = false
		if err := r.store.UpdatePerson(t.Context(), r.people[store.Owner].ID, p); err != nil {
			t.Fatal(err)
		}
		b.get("/").want(t, 303)
		r.nobody().post("/login", url.Values{"login": {"wanda"}, "password": {password}}).want(t, 422)
	})
	t.Run("says so in the log without names of secrets", func(t *testing.T) {
		if strings.Contains(r.log.String(), password) {
			t.Error("the password stands in the log")
		}
	})
}

func TestSessionExpiry(t *testing.T) {
	r := newRig(t, func(o *Options) { o.SessionIdle, o.SessionAbsolute = time.Hour, 3*time.Hour })
	b := r.as(store.Technician)
	t.Run("lives on while it is used", func(t *testing.T) {
		for _, d := range []time.Duration{50 * time.Minute, 100 * time.Minute, 150 * time.Minute} {
			r.later(d)
			b.get("/").want(t, 200)
		}
	})
	t.Run("ends at its whole time even while it is used", func(t *testing.T) {
		r.later(181 * time.Minute)
		b.get("/").want(t, 303)
	})
	t.Run("ends when it was idle for long", func(t *testing.T) {
		r.later(0)
		b := r.as(store.Technician)
		r.later(61 * time.Minute)
		b.get("/").want(t, 303)
	})
	t.Run("keeps what was typed when it ends before a form is sent", func(t *testing.T) {
		r.later(0)
		job := r.job()
		b := r.as(store.Technician)
		r.later(2 * time.Hour)
		path := "/jobs/" + itoa(job) + "/evidence"
		form := url.Values{"kind": {"code"}, "id": {store.NewID()}, "codes": {"p0171 & \"p0174\""}, "status": {"stored"}, "source": {"observed"}}
		a := b.post(path, form).want(t, 401, "what you typed is kept")
		back := url.Values{"login": {"tomas"}, "password": {password}, "again_action": {a.hidden(t, "again_action")}}
		for name, values := range form {
			back.Add("again_name", name)
			back.Add("again_value", values[0])
		}
		b.post("/login", back).want(t, 200, `action="`+path+`"`, `value="p0171 &amp; &#34;p0174&#34;"`)
	})
}

func TestThrottle(t *testing.T) {
	r := newRig(t, func(o *Options) { o.Limits = LoginLimits{Within: 15 * time.Minute, Login: 3, Address: 7} })
	try := func(login, pw string) answer {
		return r.nobody().post("/login", url.Values{"login": {login}, "password": {pw}})
	}
	t.Run("stops checking after too many wrong passwords for a name, even for the right one, and says so", func(t *testing.T) {
		for range 3 {
			try("olga", "wrong").want(t, 422)
		}
		try("olga", password).want(t, 429, "3 wrong passwords were given for this name within 15 minutes", "Wait up to 15 minutes", `value="olga"`)
	})
	t.Run("leaves other names alone", func(t *testing.T) {
		try("tomas", password).want(t, 303)
	})
	t.Run("forgets after the time", func(t *testing.T) {
		r.later(16 * time.Minute)
		try("olga", password).want(t, 303)
		r.later(0)
	})
	t.Run("stops an address that tries many names", func(t *testing.T) {
		for _, n := range []string{"aa", "bb", "cc", "dd"} {
			try(n, "wrong").want(t, 422)
		}
		try("tomas", password).want(t, 429, "came from this network")
	})
}

func TestClientAddress(t *testing.T) {
	r := newRig(t, func(o *Options) { o.Limits = LoginLimits{Within: 15 * time.Minute, Login: 100, Address: 2} })
	t.Run("does not believe an X-Forwarded-For from just anyone", func(t *testing.T) {
		var last answer
		for i := range 4 {
			last = r.nobody().do(http.MethodPost, "/login", strings.NewReader("login=x"+string(rune('a'+i))+"&password=no"), func(q *http.Request) {
				q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				q.Header.Set("X-Forwarded-For", "198.51.100."+string(rune('1'+i)))
				q.Header.Set("X-Real-IP", "198.51.100."+string(rune('1'+i)))
			})
		}
		last.want(t, 429)
	})
}

func TestPasswordHash(t *testing.T) {
	t.Run("keeps its parameters in the string", func(t *testing.T) {
		phc, err := hashPassword("words", PasswordCost{MemoryKiB: 128, Passes: 2, Threads: 1})
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(phc, "$argon2id$v=19$m=128,t=2,p=1$") {
			t.Errorf("got %s", phc)
		}
		ok, stale, err := checkPassword(phc, "words", PasswordCost{MemoryKiB: 128, Passes: 2, Threads: 1})
		if !ok || stale || err != nil {
			t.Errorf("ok %v, stale %v, %v", ok, stale, err)
		}
		if ok, _, _ := checkPassword(phc, "Words", cheap); ok {
			t.Error("another password passes")
		}
	})
	t.Run("agrees with the published test vector of argon2id", func(t *testing.T) {
		// The reference implementation's test (phc-winner-argon2, test.c): version 0x13,
		// t=2, m=2^16, p=1, "password", "somesalt".
		const phc = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
		ok, stale, err := checkPassword(phc, "password", cheap)
		if !ok || !stale || err != nil {
			t.Errorf("ok %v, stale %v, %v", ok, stale, err)
		}
	})
	t.Run("refuses strings that would exhaust the machine or are none", func(t *testing.T) {
		for _, s := range []string{"", "$argon2id$", "$argon2i$v=19$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
			"$argon2id$v=19$m=4294967295,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
			"$argon2id$v=19$m=64,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
			"$argon2id$v=19$m=64,t=1,p=1$$"} {
			if _, _, err := checkPassword(s, "x", cheap); err == nil {
				t.Errorf("%q is taken", s)
			}
		}
	})
	t.Run("is made anew at log-in when the cost was changed", func(t *testing.T) {
		r := newRig(t)
		dear := PasswordCost{MemoryKiB: 128, Passes: 2, Threads: 1}
		r.server.PasswordCost = dear
		r.as(store.Owner)
		p, err := r.store.Person(t.Context(), r.people[store.Owner].ID)
		if err != nil {
			t.Fatal(err)
		}
		if ok, stale, err := checkPassword(*p.PasswordHash, password, dear); !ok || stale || err != nil {
			t.Errorf("ok %v, stale %v, %v", ok, stale, err)
		}
	})
}

func FuzzPasswordHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	f.Add("$argon2id$v=19$m=64,t=1,p=1$")
	f.Fuzz(func(t *testing.T, phc string) {
		if strings.Contains(phc, "m=") && len(phc) > 40 {
			return // sound strings cost memory
		}
		if ok, _, _ := checkPassword(phc, "x", cheap); ok {
			t.Fatal("a string of chance passes")
		}
	})
}

func TestFirstOwner(t *testing.T) {
	st := newRig(t)
	t.Run("makes no link where there is an owner", func(t *testing.T) {
		path, err := FirstOwnerPath(t.Context(), st.store)
		if path != "" || err != nil {
			t.Errorf("got %q, %v", path, err)
		}
	})
	r := emptyRig(t)
	path, err := FirstOwnerPath(t.Context(), r.store)
	if err != nil || path == "" {
		t.Fatalf("no link: %q, %v", path, err)
	}
	form := url.Values{"name": {"Ada Lind"}, "login": {"ada"}, "password": {"five words are good here"}, "password_again": {"five words are good here"}}
	t.Run("does not spend the link on a look", func(t *testing.T) {
		r.nobody().get(path).want(t, 200, "no owner yet")
		r.nobody().get(path).want(t, 200)
	})
	t.Run("keeps what was typed when it refuses", func(t *testing.T) {
		bad := url.Values{"name": {"Ada Lind"}, "login": {"a d a"}, "password": {"short"}, "password_again": {"short"}}
		r.nobody().post(path, bad).want(t, 422, `value="Ada Lind"`, `value="a d a"`, "no spaces", "shorter than 10").lacks(t, `value="short"`)
	})
	t.Run("makes the owner and logs in", func(t *testing.T) {
		b := r.nobody()
		b.post(path, form).want(t, 303)
		b.get("/people").want(t, 200, "Ada Lind")
	})
	t.Run("works once", func(t *testing.T) {
		r.nobody().get(path).want(t, 404, "used already")
		r.nobody().post(path, form).want(t, 404)
	})
	t.Run("is not written into the log", func(t *testing.T) {
		if strings.Contains(r.log.String(), strings.TrimPrefix(path, "/start/")) {
			t.Error("the token stands in the log")
		}
	})
}

func TestOwnPassword(t *testing.T) {
	r := newRig(t)
	b, elsewhere := r.as(store.Technician), r.as(store.Technician)
	next := "another good password"
	t.Run("wants the present one", func(t *testing.T) {
		b.post("/me/password", url.Values{"old_password": {"wrong one"}, "password": {next}, "password_again": {next}}).want(t, 422, "not your present password")
	})
	t.Run("wants the new one twice the same", func(t *testing.T) {
		b.post("/me/password", url.Values{"old_password": {password}, "password": {next}, "password_again": {next + "x"}}).want(t, 422, "not the same")
	})
	t.Run("changes it, stays logged in here and is logged out elsewhere", func(t *testing.T) {
		b.post("/me/password", url.Values{"old_password": {password}, "password": {next}, "password_again": {next}}).want(t, 303)
		b.get("/me").want(t, 200, "Your password is changed")
		b.get("/me").lacks(t, "Your password is changed")
		elsewhere.get("/").want(t, 303)
		r.nobody().post("/login", url.Values{"login": {"tomas"}, "password": {password}}).want(t, 422)
		r.nobody().post("/login", url.Values{"login": {"tomas"}, "password": {next}}).want(t, 303)
	})
}

func TestPeople(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Owner)
	var link string
	t.Run("adds someone who chooses a password through a link shown once", func(t *testing.T) {
		a := b.post("/people", url.Values{"name": {"Noor Haddad"}, "login": {"noor"}, "role": {"technician"}}).want(t, 200, "It works once")
		i := strings.Index(a.body, "/password/")
		link = a.body[i : i+strings.IndexAny(a.body[i:], "< \"")]
		b.get("/people").want(t, 200, "has not chosen a password yet").lacks(t, link)
	})
	t.Run("keeps what was typed when the name is taken", func(t *testing.T) {
		b.post("/people", url.Values{"name": {"Another Noor"}, "login": {"NOOR"}, "role": {"writer"}}).want(t, 422, `value="Another Noor"`, `value="NOOR"`)
	})
	t.Run("lets the new one in through the link, once", func(t *testing.T) {
		n := r.nobody()
		n.get(link).want(t, 200, "Choose a password, Noor Haddad")
		n.post(link, url.Values{"password": {"seven small grey stones"}, "password_again": {"seven small grey stones"}}).want(t, 303)
		n.get("/").want(t, 200, "Noor Haddad")
		r.nobody().get(link).want(t, 404)
	})
	t.Run("does not take the last owner away", func(t *testing.T) {
		id := itoa(r.people[store.Owner].ID)
		p := "p" + id + "_"
		b.post("/people/"+id, url.Values{p + "name": {"Olga Owner"}, p + "login": {"olga"}, p + "role": {"technician"}, p + "active": {"yes"}}).want(t, 422)
		b.get("/people").want(t, 200)
	})
	t.Run("logs out at once whoever no longer works here", func(t *testing.T) {
		w := r.as(store.Writer)
		id := itoa(r.people[store.Writer].ID)
		p := "p" + id + "_"
		b.post("/people/"+id, url.Values{p + "name": {"Wanda Writer"}, p + "login": {"wanda"}, p + "role": {"writer"}}).want(t, 303)
		w.get("/").want(t, 303)
	})
}

func TestShopSettings(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Owner)
	good := url.Values{"name": {"Northgate Exhaust & Electrics"}, "labour": {"132,50"}, "currency": {"eur"}, "distance": {"km"}, "temperature": {"c"},
		"pressure": {"kpa"}, "paper": {"a4"}, "time_zone": {"Europe/Lisbon"}, "comeback_days": {"120"}, "cautions": {"Extinguisher by the door."}}
	with := func(k, v string) url.Values {
		out := url.Values{}
		for name, values := range good {
			out[name] = values
		}
		out.Set(k, v)
		return out
	}
	t.Run("refuses what cannot be and keeps the rest", func(t *testing.T) {
		for _, x := range []struct{ field, value, say string }{
			{"currency", "XQZ", "No currency"}, {"time_zone", "Mars/Olympus", "No time zone"}, {"labour", "lots", "is not an amount"}, {"labour", "1.234", "can be read in two ways"},
			{"comeback_days", "0", "between 1 and 3650"}, {"paper", "foolscap", "not one of the choices"}, {"name", "", "Nothing is filled in"},
		} {
			b.post("/shop", with(x.field, x.value)).want(t, 422, x.say, "Extinguisher by the door.")
		}
	})
	t.Run("saves in minor units of the currency", func(t *testing.T) {
		b.post("/shop", good).want(t, 303)
		s, err := r.store.Shop(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if s.LabourPerHourMinor != 13250 || s.Currency != "EUR" || s.ComebackDays != 120 {
			t.Errorf("kept %+v", s)
		}
		b.get("/shop").want(t, 200, `value="132.50"`)
	})
	t.Run("knows a currency without minor units", func(t *testing.T) {
		yen := with("currency", "JPY")
		b.post("/shop", yen).want(t, 422, "is not an amount", "132,50")
		yen.Set("labour", "13,250")
		b.post("/shop", yen).want(t, 303)
		s, _ := r.store.Shop(t.Context())
		if s.LabourPerHourMinor != 13250 {
			t.Errorf("13,250 yen kept as %d", s.LabourPerHourMinor)
		}
	})
}
