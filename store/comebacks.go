package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Comeback says that a job came back from an earlier one of the same car.
type Comeback struct {
	JobID     int64
	EarlierID int64
	Kind      string
	Words     string
	At        time.Time
	By        int64
}

// The kinds of comeback.
const (
	ComebackNotKnownYet  = "not_known_yet"
	ComebackCauseMissed  = "cause_missed"  // the earlier job mended something else
	ComebackRepairFailed = "repair_failed" // the right thing, but the repair did not hold
	ComebackPartFailed   = "part_failed"   // the part fitted died again
	ComebackUnrelated    = "unrelated"     // new trouble within the window
)

// NewComeback links a job to the earlier one it came back from.
type NewComeback struct {
	JobID     int64
	EarlierID int64
	Kind      string
	Words     string
}

// LinkComeback links a job to an earlier one, or changes what the link says.
func (s *Store) LinkComeback(ctx context.Context, by int64, n NewComeback) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error { return linkComeback(ctx, tx, now, by, n) })
}

func linkComeback(ctx context.Context, tx pgx.Tx, now time.Time, by int64, n NewComeback) error {
	if err := must(ctx, tx, `
		INSERT INTO comebacks (job_id, earlier_id, vehicle_id, kind, words, at, by)
		SELECT id, $2, vehicle_id, $3, $4, $5, $6 FROM jobs WHERE id = $1
		ON CONFLICT (job_id) DO UPDATE SET earlier_id = excluded.earlier_id, kind = excluded.kind, words = excluded.words,
			at = excluded.at, by = excluded.by`,
		n.JobID, n.EarlierID, n.Kind, n.Words, now, by); err != nil {
		return err
	}
	return logJob(ctx, tx, now, by, n.JobID, "comeback", n.Kind)
}

// UnlinkComeback takes the link of a job away.
func (s *Store) UnlinkComeback(ctx context.Context, by, jobID int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `DELETE FROM comebacks WHERE job_id = $1`, jobID); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "comeback_unlinked", "")
	})
}
