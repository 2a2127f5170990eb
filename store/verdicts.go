package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
	"crosscount/diag/say"
)

// Verdict is what the engine concluded and a person accepted, with the
// override if there is one.
type Verdict struct {
	ID             int64
	JobID          int64
	At             time.Time
	AcceptedBy     int64
	AcceptedByName string
	Verdict        diag.Verdict
	Causes         []diag.Cause
	Costs          diag.CostView
	Engine         string
	Fingerprint    string
	Case           diag.Case
	Override       *Override
}

// Override is a person's other decision on a verdict.
type Override struct {
	Decision string // part, no_part
	Parts    []diag.Part
	Reason   string
	At       time.Time
	By       int64
	ByName   string
}

// NewVerdict is a verdict to be accepted.
type NewVerdict struct {
	JobID       int64
	Decision    diag.Decision
	Case        diag.Case
	Fingerprint string       // of Case
	Override    *NewOverride // an open verdict needs one
}

// NewOverride decides otherwise than the verdict.
type NewOverride struct {
	Decision string      // part, no_part
	Parts    []diag.Part // of a part
	Reason   string
}

const verdictsSQL = `
	SELECT v.id, v.job_id, v.at, v.accepted_by, p.name AS accepted_by_name, v.verdict, v.causes, v.costs, v.engine, v.fingerprint,
		v.case_body AS case, CASE WHEN o.verdict_id IS NOT NULL THEN jsonb_build_object('Decision', o.decision, 'Parts', o.parts,
			'Reason', o.reason, 'At', o.at, 'By', o.by, 'ByName', op.name) END AS override
	FROM verdicts v JOIN people p ON p.id = v.accepted_by
	LEFT JOIN overrides o ON o.verdict_id = v.id LEFT JOIN people op ON op.id = o.by `

// AcceptVerdict keeps a verdict and puts it in force. What was approved,
// repaired and proved under an earlier one starts anew.
func (s *Store) AcceptVerdict(ctx context.Context, by int64, n NewVerdict) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, n.JobID); err != nil {
			return err
		}
		causes := n.Decision.Causes
		if causes == nil {
			causes = []diag.Cause{}
		}
		verdict, err := say.Keep(n.Decision.Verdict)
		if err != nil {
			return err
		}
		id, err = value[int64](ctx, tx, `
			INSERT INTO verdicts (job_id, at, accepted_by, verdict, causes, costs, engine, fingerprint, case_body)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING id`,
			n.JobID, now, by, verdict, causes, n.Decision.Costs, n.Decision.Engine, n.Fingerprint, n.Case)
		if err != nil {
			return err
		}
		if n.Override != nil {
			if err := override(ctx, tx, now, by, n.JobID, id, *n.Override); err != nil {
				return err
			}
		}
		if err := putInForce(ctx, tx, now, n.JobID, id); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, n.JobID, "accepted", n.Decision.Verdict.Decision)
	})
	return id, err
}

// OverrideVerdict decides otherwise on the verdict in force. It is refused if a
// newer verdict stands.
func (s *Store) OverrideVerdict(ctx context.Context, by, jobID, verdictID int64, n NewOverride) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, jobID); err != nil {
			return err
		}
		inForce, err := value[*int64](ctx, tx, `SELECT verdict_id FROM jobs WHERE id = $1`, jobID)
		if err != nil {
			return err
		}
		if inForce == nil || *inForce != verdictID {
			return refusal(Conflict, "overrides_of_verdict_in_force")
		}
		if err := override(ctx, tx, now, by, jobID, verdictID, n); err != nil {
			return err
		}
		return putInForce(ctx, tx, now, jobID, verdictID)
	})
}

func override(ctx context.Context, tx pgx.Tx, now time.Time, by, jobID, verdictID int64, n NewOverride) error {
	parts := n.Parts
	if parts == nil {
		parts = []diag.Part{}
	}
	if _, err := tx.Exec(ctx, `INSERT INTO overrides (verdict_id, job_id, at, by, decision, parts, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`, verdictID, jobID, now, by, n.Decision, parts, n.Reason); err != nil {
		return err
	}
	return logJob(ctx, tx, now, by, jobID, "overridden", n.Reason)
}

func putInForce(ctx context.Context, tx pgx.Tx, now time.Time, jobID, verdictID int64) error {
	return must(ctx, tx, `UPDATE jobs SET verdict_id = $2, diagnosed_at = greatest($3, opened_at),
		approved_at = NULL, repaired_at = NULL, proved_at = NULL WHERE id = $1`, jobID, verdictID, now)
}

// lockJob makes writers of one job's state wait for each other.
func lockJob(ctx context.Context, tx pgx.Tx, jobID int64) error {
	return must(ctx, tx, `SELECT FROM jobs WHERE id = $1 FOR NO KEY UPDATE`, jobID)
}
