package web

import (
	"context"
	"time"
	_ "time/tzdata" // a small machine may have no zones of its own
)

// wallClock shows moments as the shop's own clock does.
type wallClock struct {
	zone *time.Location
	now  time.Time
}

func (s *server) clock(ctx context.Context) (wallClock, error) {
	shop, _, err := s.shop(ctx)
	if err != nil {
		return wallClock{}, err
	}
	return clockIn(shop.TimeZone, s.now()), nil
}

func clockIn(zone string, now time.Time) wallClock {
	z, err := time.LoadLocation(zone)
	if err != nil {
		z = time.UTC
	}
	return wallClock{z, now.In(z)}
}

func (c wallClock) day(t time.Time) string {
	t = t.In(c.zone)
	if t.Year() == c.now.Year() {
		return t.Format("Mon 2 Jan")
	}
	return t.Format("2 Jan 2006")
}

// date is how a day stands on paper, which is read in other years too.
func (c wallClock) date(t time.Time) string { return t.In(c.zone).Format("2 January 2006") }

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
