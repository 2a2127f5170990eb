package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/jackc/pgx/v5"
)

// Capture is a file as it was read and measured.
type Capture struct {
	ID           string
	JobID        int64
	FileID       string
	FileName     string
	Kind         CaptureKind
	Mapping      json.RawMessage // columns and units, as an object
	Measurements json.RawMessage
	Program      string // what measured it, with its version
	Words        string
	Replaces     *string
	ReplacedBy   *string
	Entries      []string // ids of the entries it gave rise to
	At           time.Time
	By           int64
	ByName       string
}

// CaptureKind says what a file holds.
type CaptureKind string

// The kinds of capture.
const (
	CaptureSignal    CaptureKind = "signal"    // voltage over time
	CaptureLog       CaptureKind = "log"       // trims and other logged data
	CaptureResponses CaptureKind = "responses" // raw SAE J1979 responses
	CaptureGas       CaptureKind = "gas"       // exhaust gas
)

// NewCapture is a capture to be kept with the entries measured from it. It may
// be sent any number of times and is taken once.
type NewCapture struct {
	ID           string // UUID
	JobID        int64
	FileID       string
	Kind         CaptureKind
	Mapping      json.RawMessage
	Measurements json.RawMessage
	Program      string
	Picture      string // SVG; may be empty
	Words        string
	Replaces     string     // the id of an earlier capture of the job; may be empty
	Entries      []NewEntry // of the same job, source Measured
}

const capturesSQL = `
	SELECT c.id::text, c.job_id, c.file_id::text, f.name AS file_name, c.kind, c.mapping, c.measurements, c.program, c.words,
		c.replaces::text, (SELECT n.id::text FROM captures n WHERE n.replaces = c.id) AS replaced_by,
		array(SELECT e.evidence_id::text FROM capture_entries e JOIN evidence v ON v.id = e.evidence_id
			WHERE e.capture_id = c.id ORDER BY v.seq) AS entries,
		c.at, c.by, p.name AS by_name
	FROM captures c JOIN files f ON f.id = c.file_id JOIN people p ON p.id = c.by `

// AddCapture keeps a capture with its entries. The entries of the one it
// replaces are withdrawn. fresh is false if it was known before.
func (s *Store) AddCapture(ctx context.Context, by int64, n NewCapture) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended($1, 0))`, n.ID); err != nil {
			return err
		}
		known, err := many[struct{ Same bool }](ctx, tx, `
			SELECT job_id = $2 AND file_id = $3::text::uuid AND kind = $4 AND mapping = $5 AND measurements = $6 AS same
			FROM captures WHERE id = $1::text::uuid`, n.ID, n.JobID, n.FileID, n.Kind, n.Mapping, n.Measurements)
		if err != nil {
			return err
		}
		if len(known) > 0 {
			if !known[0].Same {
				return refusal(Conflict, "captures_pkey")
			}
			return nil
		}
		if _, err := tx.Exec(ctx, `
			INSERT INTO captures (id, job_id, file_id, kind, mapping, measurements, program, picture, words, replaces, at, by)
			VALUES ($1::text::uuid, $2, $3::text::uuid, $4, $5, $6, $7, $8, $9, nullif($10, '')::uuid, $11, $12)`,
			n.ID, n.JobID, n.FileID, n.Kind, n.Mapping, n.Measurements, n.Program, n.Picture, n.Words, n.Replaces, now, by); err != nil {
			return err
		}
		if n.Replaces != "" {
			old, err := many[struct{ ID string }](ctx, tx, `SELECT e.id::text FROM capture_entries c JOIN standing_evidence e ON e.id = c.evidence_id
				WHERE c.capture_id = $1::text::uuid ORDER BY e.seq`, n.Replaces)
			if err != nil {
				return err
			}
			for _, e := range old {
				w := Withdrawal{ID: NewID(), JobID: n.JobID, Withdraws: e.ID, Reason: "The file was read again.", ClientAt: now}
				if _, err := withdraw(ctx, tx, now, by, w); err != nil {
					return err
				}
			}
		}
		for _, e := range n.Entries {
			e.JobID, e.Source = n.JobID, Measured
			if _, err := addEntry(ctx, tx, now, by, e); err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, `INSERT INTO capture_entries (capture_id, job_id, evidence_id)
				VALUES ($1::text::uuid, $2, $3::text::uuid)`, n.ID, n.JobID, e.ID); err != nil {
				return err
			}
		}
		fresh = true
		return nil
	})
	return fresh && err == nil, err
}

// Captures lists a job's captures in the order they came, replaced ones too.
func (s *Store) Captures(ctx context.Context, jobID int64) ([]Capture, error) {
	return many[Capture](ctx, s.pool, capturesSQL+`WHERE c.job_id = $1 ORDER BY c.at, c.id`, jobID)
}

// Capture returns one capture.
func (s *Store) Capture(ctx context.Context, id string) (Capture, error) {
	return one[Capture](ctx, s.pool, capturesSQL+`WHERE c.id = $1::text::uuid`, id)
}

// CapturePicture returns a capture's picture as SVG; it may be empty.
func (s *Store) CapturePicture(ctx context.Context, id string) (string, error) {
	return value[string](ctx, s.pool, `SELECT picture FROM captures WHERE id = $1::text::uuid`, id)
}

// Mapping says how columns and units of a file are to be read, under a name.
type Mapping struct {
	Name    string
	Mapping json.RawMessage
	At      time.Time
	By      int64
}

// Mappings lists the named mappings by name.
func (s *Store) Mappings(ctx context.Context) ([]Mapping, error) {
	return many[Mapping](ctx, s.pool, `SELECT name, mapping, at, by FROM mappings ORDER BY name`)
}

// SaveMapping keeps a mapping under a name; an earlier one of that name goes.
func (s *Store) SaveMapping(ctx context.Context, by int64, name string, mapping json.RawMessage) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `INSERT INTO mappings (name, mapping, at, by) VALUES ($1, $2, $3, $4)
			ON CONFLICT (name) DO UPDATE SET mapping = $2, at = $3, by = $4`, name, mapping, now, by)
		return err
	})
}

// RenameMapping gives a named mapping another name, which no other may have.
func (s *Store) RenameMapping(ctx context.Context, by int64, name, to string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE mappings SET name = $2, at = $3, by = $4 WHERE name = $1`, name, to, now, by)
	})
}

// DeleteMapping removes a named mapping; captures read by it keep their own copy.
func (s *Store) DeleteMapping(ctx context.Context, by int64, name string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `DELETE FROM mappings WHERE name = $1`, name)
	})
}
