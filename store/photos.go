package store

import (
	"context"
	"crypto/sha256"
	"time"

	"github.com/jackc/pgx/v5"
)

// Photo is a photo of a job without its pixels.
type Photo struct {
	ID         string
	JobID      int64
	Subject    string // tip, connector, gasket, other
	Moment     string // before, after, or empty
	Bank       int
	Position   int
	Words      string
	EvidenceID *string // the entry it shows
	MediaType  string
	Width      int
	Height     int
	Size       int64 // bytes
	SHA256     []byte
	ClientAt   time.Time
	At         time.Time
	By         int64
	ByName     string
	RemovedAt  *time.Time
	RemovedWhy string
}

// NewPhoto is a photo to be kept, already shrunk and stripped of its metadata.
// It may be sent any number of times and is taken once.
type NewPhoto struct {
	ID         string // UUID
	JobID      int64
	Subject    string // tip, connector, gasket, other
	Moment     string // before, after, or empty
	Bank       int
	Position   int
	Words      string
	EvidenceID string // the entry it shows; may be empty
	MediaType  string // image/jpeg, image/png, image/webp
	Width      int    // pixels
	Height     int    // pixels
	Data       []byte // at most 12 MiB
	Thumb      []byte // at most 256 KiB, of the same media type
	ClientAt   time.Time
}

const photosSQL = `
	SELECT f.id::text, f.job_id, f.subject, f.moment, f.bank, f.position, f.words, f.evidence_id::text, f.media_type, f.width, f.height,
		length(f.data)::bigint AS size, f.sha256, f.client_at, f.at, f.by, p.name AS by_name, f.removed_at, f.removed_why
	FROM photos f JOIN people p ON p.id = f.by `

// AddPhoto keeps a photo. fresh is false if it was known before.
func (s *Store) AddPhoto(ctx context.Context, by int64, n NewPhoto) (fresh bool, err error) {
	sum := sha256.Sum256(n.Data)
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if n.ClientAt.IsZero() {
			n.ClientAt = now
		}
		fresh, err = insertOnce(ctx, tx, "photos", n.ID,
			`job_id = $2 AND subject = $3 AND moment = $4 AND bank = $5::bigint AND position = $6::bigint AND sha256 = $7`,
			`INSERT INTO photos (id, job_id, subject, moment, bank, position, sha256, words, evidence_id, media_type, width, height,
				data, thumb, client_at, at, by)
			VALUES ($1::text::uuid, $2, $3, $4, $5::bigint, $6::bigint, $7, $8, nullif($9, '')::uuid, $10, $11::bigint, $12::bigint,
				$13, $14, $15, $16, $17)`,
			[]any{n.JobID, n.Subject, n.Moment, n.Bank, n.Position, sum[:]},
			[]any{n.Words, n.EvidenceID, n.MediaType, n.Width, n.Height, n.Data, n.Thumb, n.ClientAt, now, by})
		return err
	})
	return fresh, err
}

// Photos lists a job's photos that were not removed, in the order they came.
func (s *Store) Photos(ctx context.Context, jobID int64) ([]Photo, error) {
	return many[Photo](ctx, s.pool, photosSQL+`WHERE f.job_id = $1 AND f.removed_at IS NULL ORDER BY f.at, f.id`, jobID)
}

// PhotoData is the picture itself.
type PhotoData struct {
	MediaType string
	SHA256    []byte // of the full picture
	Data      []byte
}

// PhotoData returns a photo that was not removed.
func (s *Store) PhotoData(ctx context.Context, id string) (PhotoData, error) {
	return one[PhotoData](ctx, s.pool, `SELECT media_type, sha256, data FROM photos
		WHERE id = $1::text::uuid AND removed_at IS NULL`, id)
}

// PhotoThumb returns the thumbnail of a photo that was not removed.
func (s *Store) PhotoThumb(ctx context.Context, id string) (PhotoData, error) {
	return one[PhotoData](ctx, s.pool, `SELECT media_type, sha256, thumb AS data FROM photos
		WHERE id = $1::text::uuid AND removed_at IS NULL`, id)
}

// RemovePhoto takes a photo out of the job, with a reason.
func (s *Store) RemovePhoto(ctx context.Context, by, jobID int64, id, why string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE photos SET removed_at = $3, removed_by = $4, removed_why = $5
			WHERE job_id = $1 AND id = $2::text::uuid`, jobID, id, now, by, why)
	})
}
