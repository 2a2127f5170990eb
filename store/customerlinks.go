package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// CustomerLink lets a customer read about a job without a log-in. Only the
// SHA-256 of its token is kept.
type CustomerLink struct {
	ID           int64
	JobID        int64
	CreatedAt    time.Time
	CreatedBy    int64
	ExpiresAt    time.Time
	RevokedAt    *time.Time
	Views        int
	LastViewedAt *time.Time
}

const customerLinksSQL = `
	SELECT l.id, l.job_id, l.created_at, l.created_by, l.expires_at, l.revoked_at,
		(SELECT count(*) FROM customer_link_views v WHERE v.link_id = l.id) AS views,
		(SELECT max(at) FROM customer_link_views v WHERE v.link_id = l.id) AS last_viewed_at
	FROM customer_links l `

// AddCustomerLink keeps a new link.
func (s *Store) AddCustomerLink(ctx context.Context, by, jobID int64, tokenHash []byte, expires time.Time) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		id, err = value[int64](ctx, tx, `INSERT INTO customer_links (job_id, token_hash, created_at, created_by, expires_at)
			VALUES ($1, $2, $3, $4, $5) RETURNING id`, jobID, tokenHash, now, by, expires)
		return err
	})
	return id, err
}

// CustomerLinks lists a job's links, the latest first.
func (s *Store) CustomerLinks(ctx context.Context, jobID int64) ([]CustomerLink, error) {
	return many[CustomerLink](ctx, s.pool, customerLinksSQL+`WHERE l.job_id = $1 ORDER BY l.id DESC`, jobID)
}

// RevokeCustomerLink ends a link; twice is no error.
func (s *Store) RevokeCustomerLink(ctx context.Context, by, jobID, id int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE customer_links SET revoked_at = coalesce(revoked_at, $3), revoked_by = coalesce(revoked_by, $4)
			WHERE job_id = $1 AND id = $2`, jobID, id, now, by)
	})
}

// CustomerLink returns the link that works by this token without noting a view,
// for the pictures of a page whose view was noted.
func (s *Store) CustomerLink(ctx context.Context, tokenHash []byte) (CustomerLink, error) {
	return one[CustomerLink](ctx, s.pool, customerLinksSQL+`WHERE l.token_hash = $1 AND l.revoked_at IS NULL AND l.expires_at > $2`,
		tokenHash, s.now())
}

// ViewCustomerLink returns the link that works by this token and notes the
// view. A link that has run out or was revoked is not found.
func (s *Store) ViewCustomerLink(ctx context.Context, tokenHash []byte, address, userAgent string) (link CustomerLink, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		id, err := value[int64](ctx, tx, `SELECT id FROM customer_links
			WHERE token_hash = $1 AND revoked_at IS NULL AND expires_at > $2`, tokenHash, now)
		if err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `INSERT INTO customer_link_views VALUES ($1, $2, $3, $4)`, id, now, address, userAgent); err != nil {
			return err
		}
		link, err = one[CustomerLink](ctx, tx, customerLinksSQL+`WHERE l.id = $1`, id)
		return err
	})
	return link, err
}
