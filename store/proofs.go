package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Proof is a repair put to the test.
type Proof struct {
	ID         int64
	JobID      int64
	EvidenceID string // the road_proof entry it rests on
	At         time.Time
	By         int64
	ByName     string
	Passed     bool
	Statement  string
	Stands     bool // its entry was not withdrawn
}

// NewProof is a proof to be written down. Its entry is a road_proof result,
// new or already in the log.
type NewProof struct {
	Entry     NewEntry
	Statement string
}

const proofsSQL = `
	SELECT f.id, f.job_id, f.evidence_id::text, f.at, f.by, p.name AS by_name, f.passed, f.statement,
		NOT EXISTS (SELECT FROM evidence w WHERE w.withdraws = f.evidence_id) AS stands
	FROM proofs f JOIN people p ON p.id = f.by `

// AddProof writes a proof down with its entry; sent twice, it is taken once. If
// it passed, the job is proved; if it failed, the repair is no longer finished.
func (s *Store) AddProof(ctx context.Context, by int64, n NewProof) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, n.Entry.JobID); err != nil {
			return err
		}
		fresh, err := addEntry(ctx, tx, now, by, n.Entry)
		if err != nil {
			return err
		}
		if !fresh {
			known, err := value[bool](ctx, tx, `SELECT EXISTS (SELECT FROM proofs WHERE evidence_id = $1::text::uuid AND statement = $2)`,
				n.Entry.ID, n.Statement)
			if err != nil || known {
				return err
			}
		}
		passed := n.Entry.Body.Outcome == "passed"
		if _, err := tx.Exec(ctx, `INSERT INTO proofs (job_id, evidence_id, at, by, passed, statement)
			SELECT id, $2::text::uuid, greatest($3, repaired_at), $4, $5, $6 FROM jobs WHERE id = $1`,
			n.Entry.JobID, n.Entry.ID, now, by, passed, n.Statement); err != nil {
			return err
		}
		what, change := "proved", `proved_at = greatest($2, repaired_at)`
		if !passed {
			what, change = "proof_failed", `proved_at = NULL, repaired_at = CASE WHEN $2::timestamptz IS NULL THEN repaired_at END`
		}
		if err := must(ctx, tx, `UPDATE jobs SET `+change+` WHERE id = $1`, n.Entry.JobID, now); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, n.Entry.JobID, what, n.Statement)
	})
}
