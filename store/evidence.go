package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Source is how an entry came to us.
type Source string

// The sources of evidence.
const (
	Told     Source = "told"     // others say so: the customer, another shop
	Observed Source = "observed" // we read, looked or asked, and typed it
	Measured Source = "measured" // computed from a file kept with the job
)

// Entry is one line of a job's evidence log, with its withdrawal if there is
// one.
type Entry struct {
	ID            string // UUID made by the client
	Seq           int64  // order of arrival
	JobID         int64
	Body          diag.Entry
	Source        Source
	EnteredBy     int64
	EnteredByName string
	ClientAt      time.Time // by the client's clock
	ReceivedAt    time.Time
	WithdrawnID   *string // the line that withdraws it
	WithdrawnAt   *time.Time
	WithdrawnBy   *string // name
	WithdrawnWhy  *string
}

// Stands says that the entry was not withdrawn.
func (e Entry) Stands() bool { return e.WithdrawnID == nil }

// NewEntry is an entry for the log. It may be sent any number of times and is
// taken once.
type NewEntry struct {
	ID       string // UUID
	JobID    int64
	Body     diag.Entry
	Source   Source
	ClientAt time.Time // zero: now
}

// Withdrawal takes an entry of the same job back, with a reason. It may be sent
// any number of times and is taken once.
type Withdrawal struct {
	ID        string // UUID
	JobID     int64
	Withdraws string // id of the entry
	Reason    string
	ClientAt  time.Time // zero: now
}

const entriesSQL = `
	SELECT e.id::text, e.seq, e.job_id, e.body, e.source, e.entered_by, p.name AS entered_by_name, e.client_at, e.received_at,
		w.id::text AS withdrawn_id, w.received_at AS withdrawn_at, wp.name AS withdrawn_by, w.reason AS withdrawn_why
	FROM evidence e JOIN people p ON p.id = e.entered_by
	LEFT JOIN evidence w ON w.withdraws = e.id LEFT JOIN people wp ON wp.id = w.entered_by
	WHERE e.is_entry `

// AddEntry appends an entry and returns it as the log has it. fresh is false if
// the log had it before.
func (s *Store) AddEntry(ctx context.Context, by int64, n NewEntry) (entry Entry, fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if fresh, err = addEntry(ctx, tx, now, by, n); err != nil {
			return err
		}
		entry, err = one[Entry](ctx, tx, entriesSQL+`AND e.id = $1::text::uuid`, n.ID)
		return err
	})
	return entry, fresh, err
}

// AddEntries appends entries that were written down together: all of them or
// none. Those that the log had before stay as they are.
func (s *Store) AddEntries(ctx context.Context, by int64, ns []NewEntry) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		for _, n := range ns {
			if _, err := addEntry(ctx, tx, now, by, n); err != nil {
				return err
			}
		}
		return nil
	})
}

func addEntry(ctx context.Context, tx pgx.Tx, now time.Time, by int64, n NewEntry) (fresh bool, err error) {
	if n.ClientAt.IsZero() {
		n.ClientAt = now
	}
	return insertOnce(ctx, tx, "evidence", n.ID,
		`job_id = $2 AND body = $3 AND source = $4 AND entered_by = $5`,
		`INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at)
		VALUES ($1::text::uuid, $2, $3, $4, $5, $6, $7)`,
		[]any{n.JobID, n.Body, n.Source, by}, []any{n.ClientAt, now})
}

// WithdrawEntry appends a withdrawal. If the proof of the repair rested on the
// entry, the job is no longer proved. fresh is false if the log had it before.
func (s *Store) WithdrawEntry(ctx context.Context, by int64, w Withdrawal) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		fresh, err = withdraw(ctx, tx, now, by, w)
		return err
	})
	return fresh, err
}

func withdraw(ctx context.Context, tx pgx.Tx, now time.Time, by int64, w Withdrawal) (fresh bool, err error) {
	if w.ClientAt.IsZero() {
		w.ClientAt = now
	}
	fresh, err = insertOnce(ctx, tx, "evidence", w.ID,
		`job_id = $2 AND withdraws = $3::text::uuid AND reason = $4 AND entered_by = $5`,
		`INSERT INTO evidence (id, job_id, withdraws, reason, entered_by, source, client_at, received_at)
		VALUES ($1::text::uuid, $2, $3::text::uuid, $4, $5, 'observed', $6, $7)`,
		[]any{w.JobID, w.Withdraws, w.Reason, by}, []any{w.ClientAt, now})
	if err != nil || !fresh {
		return fresh, err
	}
	_, err = tx.Exec(ctx, `UPDATE jobs SET proved_at = NULL WHERE id = $1 AND proved_at IS NOT NULL AND NOT EXISTS (
		SELECT FROM proofs p JOIN standing_evidence e ON e.id = p.evidence_id
		WHERE p.job_id = jobs.id AND p.passed AND p.at >= jobs.repaired_at)`, w.JobID)
	return fresh, err
}
