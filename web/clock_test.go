package web

import (
	"testing"
	"time"

	"crosscount/store"
	"crosscount/templates/lang"
)

func TestDatesFollowTheShopAndTheLanguage(t *testing.T) {
	now := time.Date(2026, 2, 5, 9, 30, 0, 0, time.UTC)
	this, other := time.Date(2026, 2, 3, 14, 5, 0, 0, time.UTC), time.Date(2025, 11, 9, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct{ tag, order, day, moment, past, calendar, date string }{
		{"en", "day", "Tue 3 Feb", "Tue 3 Feb, 14:05", "9 Nov 2025", "3 Feb 2026", "3 February 2026"},
		{"en", "month", "Tue Feb 3", "Tue Feb 3, 14:05", "Nov 9, 2025", "Feb 3, 2026", "February 3, 2026"},
		{"en", "year", "Tue 2026-02-03", "Tue 2026-02-03, 14:05", "2025-11-09", "2026-02-03", "2026-02-03"},
		{"es", "day", "mar 3 feb", "mar 3 feb, 14:05", "9 nov 2025", "3 feb 2026", "3 de febrero de 2026"},
		{"es", "month", "mar feb 3", "mar feb 3, 14:05", "nov 9, 2025", "feb 3, 2026", "febrero 3 de 2026"},
		{"es", "year", "mar 2026-02-03", "mar 2026-02-03, 14:05", "2025-11-09", "2026-02-03", "2026-02-03"},
	} {
		clock := clockIn(lang.Of(c.tag, ""), store.Shop{TimeZone: "UTC", DateOrder: c.order}, now)
		for _, x := range []struct{ got, want string }{
			{clock.day(this), c.day}, {clock.moment(this), c.moment}, {clock.day(other), c.past}, {clock.calendar(this), c.calendar}, {clock.date(this), c.date},
			{clock.moment(now), "09:30"},
		} {
			if x.got != x.want {
				t.Errorf("%s, %s first: %q, want %q", c.tag, c.order, x.got, x.want)
			}
		}
	}
}
