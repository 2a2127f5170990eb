package web

import (
	"context"
	"fmt"
	"time"
	_ "time/tzdata" // a small machine may have no zones of its own

	"crosscount/store"
	"crosscount/templates/lang"
)

// wallClock shows moments as the shop's own clock does, in the language of whoever
// reads them.
type wallClock struct {
	zone  *time.Location
	now   time.Time
	order string // which stands first in a date: day, month, year
	l     *lang.Language
}

func (s *server) clock(ctx context.Context) (wallClock, error) {
	shop, _, err := s.shop(ctx)
	if err != nil {
		return wallClock{}, err
	}
	return clockIn(lang.From(ctx), shop, s.now()), nil
}

func clockIn(l *lang.Language, shop store.Shop, now time.Time) wallClock {
	z, err := time.LoadLocation(shop.TimeZone)
	if err != nil {
		z = time.UTC
	}
	return wallClock{z, now.In(z), shop.DateOrder, l}
}

// day names the weekday of a day of this year, and the year of any other.
func (c wallClock) day(t time.Time) string {
	t = t.In(c.zone)
	if t.Year() != c.now.Year() {
		return c.calendar(t)
	}
	weekday, month := c.l.Names(lang.Days)[t.Weekday()], c.l.Names(lang.Months)[t.Month()-1]
	switch c.order {
	case "month":
		return fmt.Sprintf("%s %s %d", weekday, month, t.Day())
	case "year":
		return weekday + t.Format(" 2006-01-02")
	}
	return fmt.Sprintf("%s %d %s", weekday, t.Day(), month)
}

// calendar writes a date that has no time and no zone.
func (c wallClock) calendar(t time.Time) string {
	month := c.l.Names(lang.Months)[t.Month()-1]
	switch c.order {
	case "month":
		return fmt.Sprintf("%s %d, %d", month, t.Day(), t.Year())
	case "year":
		return t.Format("2006-01-02")
	}
	return fmt.Sprintf("%d %s %d", t.Day(), month, t.Year())
}

// date is how a day stands on paper, which is read in other years too.
func (c wallClock) date(t time.Time) string {
	t = t.In(c.zone)
	month := c.l.Names(lang.FullMonths)[t.Month()-1]
	switch c.order {
	case "month":
		return c.l.T("%s %d, %d", month, t.Day(), t.Year())
	case "year":
		return t.Format("2006-01-02")
	}
	return c.l.T("%d %s %d", t.Day(), month, t.Year())
}

func (c wallClock) hour(t time.Time) string { return t.In(c.zone).Format("15:04") }

// moment leaves the day away when it is today.
func (c wallClock) moment(t time.Time) string {
	if a, b := t.In(c.zone), c.now; a.YearDay() == b.YearDay() && a.Year() == b.Year() {
		return c.hour(t)
	}
	return c.day(t) + ", " + c.hour(t)
}

// days counts midnights between two moments.
func (c wallClock) days(from, to time.Time) int {
	a, b := from.In(c.zone), to.In(c.zone)
	midnight := func(t time.Time) time.Time { return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC) }
	return int(midnight(b).Sub(midnight(a)).Hours() / 24)
}
