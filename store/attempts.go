package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Failures counts log-ins that failed.
type Failures struct {
	Login   int // for that name, since its last success
	Address int // from that client address
}

// RecordAttempt notes how a log-in went. address is whatever the caller
// throttles by: an IPv4 address, an IPv6 prefix.
func (s *Store) RecordAttempt(ctx context.Context, login, address string, ok bool) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `INSERT INTO login_attempts (login, address, at, ok) VALUES ($1, $2, $3, $4)`,
			foldLogin(login), address, now, ok)
		return err
	})
}

// FailedAttempts counts failures since a time.
func (s *Store) FailedAttempts(ctx context.Context, login, address string, since time.Time) (Failures, error) {
	return one[Failures](ctx, s.pool, `
		SELECT (SELECT count(*) FROM login_attempts a WHERE a.login = $1 AND NOT ok AND at > greatest($3,
				(SELECT max(at) FROM login_attempts b WHERE b.login = $1 AND b.ok))) AS login,
			(SELECT count(*) FROM login_attempts WHERE login_attempts.address = $2 AND NOT ok AND at > $3) AS address`,
		foldLogin(login), address, since)
}
