package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// OneTimeLink lets someone in once. Only the SHA-256 of its token is kept.
type OneTimeLink struct {
	ID        int64
	Purpose   string // first_owner, password
	PersonID  *int64 // of a password link
	CreatedAt time.Time
	ExpiresAt time.Time
	UsedAt    *time.Time
}

// The purposes of a one-time link.
const (
	LinkFirstOwner = "first_owner"
	LinkPassword   = "password"
)

// AddLink keeps a new one-time link. Earlier unused links for the same purpose
// and person stop working. by is 0 when the program itself does it; personID is
// 0 for the first owner.
func (s *Store) AddLink(ctx context.Context, by int64, purpose string, personID int64, tokenHash []byte, expires time.Time) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if _, err := tx.Exec(ctx, `DELETE FROM one_time_links
			WHERE purpose = $1 AND coalesce(person_id, 0) = $2 AND used_at IS NULL`, purpose, personID); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO one_time_links (purpose, token_hash, person_id, created_at, created_by, expires_at)
			VALUES ($1, $2, nullif($3, 0), $4, nullif($5, 0), $6)`,
			purpose, tokenHash, personID, now, by, expires)
		return err
	})
}

// Link returns a link that still works.
func (s *Store) Link(ctx context.Context, tokenHash []byte) (OneTimeLink, error) {
	return one[OneTimeLink](ctx, s.pool, `
		SELECT id, purpose, person_id, created_at, expires_at, used_at FROM one_time_links
		WHERE token_hash = $1 AND used_at IS NULL AND expires_at > $2`, tokenHash, s.now())
}

// useLink marks a working link as used and returns it.
func useLink(ctx context.Context, tx pgx.Tx, now time.Time, purpose string, tokenHash []byte) (OneTimeLink, error) {
	return one[OneTimeLink](ctx, tx, `
		UPDATE one_time_links SET used_at = $3
		WHERE token_hash = $1 AND purpose = $2 AND used_at IS NULL AND expires_at > $3
		RETURNING id, purpose, person_id, created_at, expires_at, used_at`, tokenHash, purpose, now)
}

// AddFirstOwner spends a first-owner link on a new owner.
func (s *Store) AddFirstOwner(ctx context.Context, tokenHash []byte, p NewPerson) (owner Person, err error) {
	p.Role = Owner
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if _, err := useLink(ctx, tx, now, LinkFirstOwner, tokenHash); err != nil {
			return err
		}
		owner, err = addPerson(ctx, tx, now, 0, p)
		return err
	})
	return owner, err
}

// SetPasswordByLink spends a password link and returns its person.
func (s *Store) SetPasswordByLink(ctx context.Context, tokenHash []byte, phc string) (p Person, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		link, err := useLink(ctx, tx, now, LinkPassword, tokenHash)
		if err != nil {
			return err
		}
		if err := setPassword(ctx, tx, *link.PersonID, phc); err != nil {
			return err
		}
		p, err = one[Person](ctx, tx, `SELECT `+personColumns+` FROM people p WHERE id = $1`, *link.PersonID)
		return err
	})
	return p, err
}
