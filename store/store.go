// Package store keeps what the shop wrote down: one file per record. An
// exported method is one transaction; rules live in the schema as named
// constraints and come back as an Error with a sentence for the person. The
// store decides nothing.
package store

import (
	"context"
	"crypto/rand"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Store reads and writes the shop's records. It is safe for concurrent use.
type Store struct {
	pool  database // the pool, or the transaction of Together
	conns *pgxpool.Pool
	clock func() time.Time
}

// database is a pool or a transaction.
type database interface {
	querier
	Begin(ctx context.Context) (pgx.Tx, error)
}

// New returns a store over a migrated database. The pool stays the caller's to
// close.
func New(pool *pgxpool.Pool) *Store {
	return &Store{pool: pool, conns: pool, clock: time.Now}
}

// At returns a store over the same database for which it is always t. Seeds
// and tests write the past with it.
func (s *Store) At(t time.Time) *Store {
	return &Store{pool: s.pool, conns: s.conns, clock: func() time.Time { return t }}
}

// Together runs fn with a store whose methods are steps of one transaction: all
// of them count, or, if fn returns an error, none. That store is for one goroutine
// and ends with fn.
func (s *Store) Together(ctx context.Context, fn func(*Store) error) error {
	return translate(pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		return fn(&Store{pool: tx, conns: s.conns, clock: s.clock})
	}))
}

// Ping says whether the database answers.
func (s *Store) Ping(ctx context.Context) error {
	return translate(s.conns.Ping(ctx))
}

// NewID makes a random UUID (RFC 9562, version 4) for a record whose id is
// chosen before it is sent.
func NewID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails, by its documentation
	b[6] = b[6]&0x0f | 0x40
	b[8] = b[8]&0x3f | 0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}

// now is the time as the database can keep it.
func (s *Store) now() time.Time {
	return s.clock().UTC().Truncate(time.Microsecond)
}

// write runs fn in a transaction with the one time that counts in it.
func (s *Store) write(ctx context.Context, fn func(tx pgx.Tx, now time.Time) error) error {
	return translate(pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error { return fn(tx, s.now()) }))
}

// read runs fn on one snapshot of the database.
func (s *Store) read(ctx context.Context, fn func(tx pgx.Tx) error) error {
	if tx, ok := s.pool.(pgx.Tx); ok {
		return translate(fn(tx))
	}
	return translate(pgx.BeginTxFunc(ctx, s.conns,
		pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, fn))
}

// querier is a pool or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

// one returns the single row of a query as a struct.
func one[T any](ctx context.Context, q querier, sql string, args ...any) (T, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		var zero T
		return zero, translate(err)
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[T])
	return v, translate(err)
}

// many returns the rows of a query as structs.
func many[T any](ctx context.Context, q querier, sql string, args ...any) ([]T, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(err)
	}
	v, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	return v, translate(err)
}

// value returns the single value of a query.
func value[T any](ctx context.Context, q querier, sql string, args ...any) (T, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		var zero T
		return zero, translate(err)
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowTo[T])
	return v, translate(err)
}

// must is for a statement that has to touch exactly one row.
func must(ctx context.Context, tx pgx.Tx, sql string, args ...any) error {
	tag, err := tx.Exec(ctx, sql, args...)
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return pgx.ErrNoRows
	}
	return nil
}

// insertOnce inserts a row whose id was made by the client, unless that very
// row is there. The same id with other content is a conflict. The id is $1,
// content begins at $2, and what may differ when it is sent again comes after.
func insertOnce(ctx context.Context, tx pgx.Tx, table, id, same, insert string, content, rest []any) (fresh bool, err error) {
	// Of two senders of one id the second waits for the first.
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended($1, 0))`, id); err != nil {
		return false, err
	}
	args := append([]any{id}, content...)
	found, err := many[struct{ Same *bool }](ctx, tx, `SELECT `+same+` AS same FROM `+table+` WHERE id = $1::text::uuid`, args...)
	switch {
	case err != nil:
		return false, err
	case len(found) == 0:
		_, err := tx.Exec(ctx, insert, append(args, rest...)...)
		return err == nil, err
	case found[0].Same == nil || !*found[0].Same:
		return false, refusal(Conflict, table+"_pkey")
	}
	return false, nil
}
