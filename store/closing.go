package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Closing ends a job with what it turned out to be.
type Closing struct {
	JobID       int64
	Outcome     string          // confirmed, not_found, nothing_wrong, declined
	Causes      []diag.CauseRef // of a confirmed outcome
	UnprovedWhy string          // why a repair leaves without proof
	Words       string
}

// CloseJob closes a job.
func (s *Store) CloseJob(ctx context.Context, by int64, c Closing) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET closed_at = greatest($2, diagnosed_at, approved_at, repaired_at, proved_at),
			closed_by = $3, outcome = $4, unproved_why = $5 WHERE id = $1`, c.JobID, now, by, c.Outcome, c.UnprovedWhy); err != nil {
			return err
		}
		for _, cause := range c.Causes {
			if _, err := tx.Exec(ctx, `INSERT INTO confirmed_causes (job_id, cause, bank, position) VALUES ($1, $2, $3::bigint, $4::bigint)`,
				c.JobID, cause.Cause, cause.Bank, cause.Position); err != nil {
				return err
			}
		}
		return logJob(ctx, tx, now, by, c.JobID, "closed", c.Words)
	})
}

// ReopenJob opens a job again that was closed or cancelled by mistake. Its
// outcome goes into the log. A car that came back is a new job.
func (s *Store) ReopenJob(ctx context.Context, by, jobID int64, why string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, jobID); err != nil {
			return err
		}
		outcome, err := value[*string](ctx, tx, `SELECT outcome FROM jobs WHERE id = $1`, jobID)
		if err != nil {
			return err
		}
		gone, err := many[diag.CauseRef](ctx, tx, `DELETE FROM confirmed_causes WHERE job_id = $1 RETURNING cause, bank, position`, jobID)
		if err != nil {
			return err
		}
		if err := must(ctx, tx, `UPDATE jobs SET closed_at = NULL, closed_by = NULL, outcome = NULL, unproved_why = '',
			cancelled_at = NULL, cancelled_by = NULL, cancelled_why = '' WHERE id = $1`, jobID); err != nil {
			return err
		}
		var words strings.Builder
		words.WriteString(why)
		if outcome != nil {
			fmt.Fprintf(&words, " [%s", *outcome)
			for _, c := range gone {
				fmt.Fprintf(&words, ", %s %d/%d", c.Cause, c.Bank, c.Position)
			}
			words.WriteString("]")
		}
		return logJob(ctx, tx, now, by, jobID, "reopened", words.String())
	})
}
