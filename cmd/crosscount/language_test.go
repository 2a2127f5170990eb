package main

import (
	"cmp"
	"fmt"
	"html"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"crosscount/cmd/crosscount/internal/seed"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/templates/lang"
	"crosscount/web"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

var (
	unseen   = regexp.MustCompile(`(?s)<script.*?</script>|<style.*?</style>|<[^>]*data-own[^>]*>[^<]*`)
	spoken   = regexp.MustCompile(`(?s)` + lang.Open + `[^` + lang.Open + lang.Close + `]*` + lang.Close)
	between  = regexp.MustCompile(`(?s)>([^<]+)<|(?:aria-label|title|alt|placeholder|data-title|data-words)="([^"]+)"`)
	linked   = regexp.MustCompile(`href="(/[^"#]*)`)
	number   = regexp.MustCompile(`[0-9]+`)
	letters  = regexp.MustCompile(`\p{L}{3,}`)
	sayings  = regexp.MustCompile(`\b(?:Crosscount|VIN|USD|km|kPa|psi|min|ISO|SAE|OBD|CSV|PDF|MAF|MAP|BARO|PID|DIN|BCP|IANA|rpm|ohm|ppm|Español|English|[PCBU][0-9A-F]{4}|B[1-4]S[1-4])\b`)
	eachOnce = 3 // pages of one pattern
)

// TestEveryTextIsInTheCatalogue walks the demonstration shop in a language that puts
// what the catalogue has into brackets. What is left over was typed by somebody, or is
// missing in the other languages.
func TestEveryTextIsInTheCatalogue(t *testing.T) {
	dsn := storetest.DSN(t)
	pool, err := pgxpool.New(t.Context(), dsn)
	check(t, err)
	t.Cleanup(pool.Close)
	st := store.New(pool)
	_, err = seed.Demo(t.Context(), st, time.Now(), web.HashPassword)
	check(t, err)
	own := typed(t, pool)

	site, err := web.New(web.Options{Store: st, Logger: slog.New(slog.DiscardHandler), Speak: func(string, string) *lang.Language { return lang.Marked() }})
	check(t, err)
	server := httptest.NewServer(site)
	t.Cleanup(server.Close)

	left := map[string][]string{} // by text: the pages that show it
	pages := 0
	for _, who := range seed.Logins() {
		jar, err := cookiejar.New(nil)
		check(t, err)
		c := &http.Client{Jar: jar}
		_, err = c.PostForm(server.URL+"/login", url.Values{"login": {who.Login}, "password": {who.Password}})
		check(t, err)
		count, seen := map[string]int{}, map[string]bool{}
		queue := []string{"/"}
		for len(queue) > 0 {
			path := queue[0]
			queue = queue[1:]
			pattern := number.ReplaceAllString(strings.SplitN(path, "&", 2)[0], "N")
			if seen[path] || count[pattern] >= eachOnce {
				continue
			}
			seen[path] = true
			count[pattern]++
			res, err := c.Get(server.URL + path)
			check(t, err)
			b, err := io.ReadAll(res.Body)
			res.Body.Close()
			check(t, err)
			kind := res.Header.Get("Content-Type")
			if res.StatusCode != http.StatusOK || !strings.HasPrefix(kind, "text/html") && !strings.HasPrefix(kind, "image/svg") {
				continue
			}
			pages++
			for _, m := range linked.FindAllStringSubmatch(string(b), -1) {
				if u := html.UnescapeString(m[1]); !strings.HasPrefix(u, "/static/") {
					queue = append(queue, u)
				}
			}
			for text := range untold(string(b), own) {
				if !slices.Contains(left[text], pattern) {
					left[text] = append(left[text], pattern)
				}
			}
		}
	}
	if pages < 50 {
		t.Errorf("%d pages were seen: the walk looks at too little", pages)
	}
	if len(left) == 0 {
		return
	}
	var report strings.Builder
	for _, text := range slices.SortedFunc(maps.Keys(left), func(a, b string) int { return cmp.Or(cmp.Compare(left[a][0], left[b][0]), cmp.Compare(a, b)) }) {
		fmt.Fprintf(&report, "%-28s %s\n", left[text][0], text)
	}
	if name := os.Getenv("CROSSCOUNT_UNTOLD"); name != "" {
		check(t, os.WriteFile(name, []byte(report.String()), 0o600))
	}
	t.Errorf("%d texts on %d pages are not in the catalogue:\n%s", len(left), pages, report.String())
}

// untold gives the texts of a page that neither the catalogue nor a person said.
func untold(page string, own []string) map[string]bool {
	out := map[string]bool{}
	for _, m := range between.FindAllStringSubmatch(unseen.ReplaceAllString(page, "<"), -1) {
		text := html.UnescapeString(m[1] + m[2])
		rest := spoken.ReplaceAllString(text, " ")
		if !letters.MatchString(rest) {
			continue
		}
		for _, o := range own {
			rest = without(rest, o)
		}
		if rest = sayings.ReplaceAllString(rest, ""); letters.MatchString(rest) {
			out[strings.Join(strings.Fields(rest), " ")] = true
		}
	}
	return out
}

// without takes a typed text out where it stands as words of its own.
func without(rest, own string) string {
	from := 0
	for {
		i := strings.Index(rest[from:], own)
		if i < 0 {
			return rest
		}
		i += from
		before, _ := utf8.DecodeLastRuneInString(rest[:i])
		after, _ := utf8.DecodeRuneInString(rest[i+len(own):])
		if unicode.IsLetter(before) || unicode.IsLetter(after) {
			from = i + len(own)
			continue
		}
		rest = rest[:i] + " " + rest[i+len(own):]
		from = i
	}
}

// typed lists all texts in the database, the longest first, but those that are words of
// the program.
func typed(t *testing.T, pool *pgxpool.Pool) []string {
	rows, err := pool.Query(t.Context(), `SELECT table_name, column_name FROM information_schema.columns
		WHERE table_schema = 'public' AND data_type = 'text' AND table_name <> 'schema_migrations'`)
	check(t, err)
	type column struct{ Table, Name string }
	columns, err := pgx.CollectRows(rows, pgx.RowToStructByPos[column])
	check(t, err)
	texts := map[string]bool{}
	add := func(s string) {
		for _, line := range append(strings.Split(s, "\n"), s) {
			// A single small word could be anybody's; a name or a number could not.
			if line = strings.TrimSpace(line); letters.MatchString(line) && (len(line) > 12 || strings.ToLower(line) != line || strings.ContainsAny(line, "0123456789")) {
				texts[line] = true
			}
		}
	}
	for _, c := range columns {
		rows, err := pool.Query(t.Context(), fmt.Sprintf(`SELECT DISTINCT %s FROM %s WHERE %[1]s IS NOT NULL LIMIT 5000`, pgx.Identifier{c.Name}.Sanitize(), pgx.Identifier{c.Table}.Sanitize()))
		check(t, err)
		values, err := pgx.CollectRows(rows, pgx.RowTo[string])
		check(t, err)
		for _, v := range values {
			add(v)
		}
	}
	rows, err = pool.Query(t.Context(), `SELECT DISTINCT v #>> '{}' FROM evidence, jsonb_path_query(body, 'strict $.**') v WHERE jsonb_typeof(v) = 'string'`)
	if err == nil {
		values, err := pgx.CollectRows(rows, pgx.RowTo[string])
		check(t, err)
		for _, v := range values {
			if strings.ContainsAny(v, " ") {
				add(v)
			}
		}
	}
	return slices.SortedFunc(maps.Keys(texts), func(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), cmp.Compare(a, b)) })
}
