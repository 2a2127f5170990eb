package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Session is one signed-in browser. Only the SHA-256 of its secret is kept.
type Session struct {
	ID         string
	SecretHash []byte // 32 bytes
	PersonID   int64
	CreatedAt  time.Time
	SeenAt     time.Time
	ExpiresAt  time.Time
	UserAgent  string
	Address    string
}

// NewSession is a session to be started.
type NewSession struct {
	ID         string
	SecretHash []byte
	PersonID   int64
	ExpiresAt  time.Time
	UserAgent  string
	Address    string
	Replaces   string // the id of a session that ends with this log-in; may be empty
}

// SignedIn is a live session with its person.
type SignedIn struct {
	SessionID  string
	SecretHash []byte
	StartedAt  time.Time
	SeenAt     time.Time
	ExpiresAt  time.Time
	PersonID   int64
	Name       string
	Login      string
	Role       Role
	Language   string // BCP 47; empty is the shop's
}

const sessionColumns = `s.id, s.secret_hash, s.person_id, s.created_at, s.seen_at, s.expires_at, s.user_agent, s.address`

// StartSession begins a session and ends the one it replaces.
func (s *Store) StartSession(ctx context.Context, n NewSession) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if _, err := tx.Exec(ctx, `DELETE FROM sessions WHERE id = $1`, n.Replaces); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO sessions (id, secret_hash, person_id, created_at, seen_at, expires_at, user_agent, address)
			VALUES ($1, $2, $3, $4, $4, $5, $6, $7)`,
			n.ID, n.SecretHash, n.PersonID, now, n.ExpiresAt, n.UserAgent, n.Address)
		return err
	})
}

// SessionByID returns a session that has not run out, of a person who is still
// active. The caller compares the secret.
func (s *Store) SessionByID(ctx context.Context, id string) (SignedIn, error) {
	return one[SignedIn](ctx, s.pool, `
		SELECT s.id AS session_id, s.secret_hash, s.created_at AS started_at, s.seen_at, s.expires_at,
			s.person_id, p.name, p.login, p.role, p.language
		FROM sessions s JOIN people p ON p.id = s.person_id
		WHERE s.id = $1 AND s.expires_at > $2 AND p.active`, id, s.now())
}

// TouchSession notes that a session was used and moves its end.
func (s *Store) TouchSession(ctx context.Context, id string, expires time.Time) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE sessions SET seen_at = $2, expires_at = $3 WHERE id = $1`, id, now, expires)
	})
}

// EndSession ends a session; one that has ended already is no error.
func (s *Store) EndSession(ctx context.Context, id string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `DELETE FROM sessions WHERE id = $1`, id)
		return err
	})
}

// EndSessionsOf signs a person out everywhere.
func (s *Store) EndSessionsOf(ctx context.Context, personID int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error { return endSessions(ctx, tx, personID) })
}

func endSessions(ctx context.Context, tx pgx.Tx, personID int64) error {
	_, err := tx.Exec(ctx, `DELETE FROM sessions WHERE person_id = $1`, personID)
	return err
}

// SessionsOf lists a person's live sessions, the last used first.
func (s *Store) SessionsOf(ctx context.Context, personID int64) ([]Session, error) {
	return many[Session](ctx, s.pool, `SELECT `+sessionColumns+` FROM sessions s
		WHERE person_id = $1 AND expires_at > $2 ORDER BY seen_at DESC`, personID, s.now())
}

// Sweep removes sessions and links that have run out and log-in attempts older
// than keep.
func (s *Store) Sweep(ctx context.Context, keep time.Duration) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		var b pgx.Batch
		b.Queue(`DELETE FROM sessions WHERE expires_at <= $1`, now)
		b.Queue(`DELETE FROM one_time_links WHERE expires_at <= $1`, now)
		b.Queue(`DELETE FROM login_attempts WHERE at <= $1`, now.Add(-keep))
		return tx.SendBatch(ctx, &b).Close()
	})
}
