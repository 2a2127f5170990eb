package store

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Role is what a person may do in the shop.
type Role string

// The roles.
const (
	Writer     Role = "writer"
	Technician Role = "technician"
	Owner      Role = "owner"
)

// Person is someone who works in the shop.
type Person struct {
	ID           int64
	Name         string
	Login        string // lower case
	Role         Role
	Language     string  // BCP 47; empty is the shop's
	PasswordHash *string // PHC string; nil until a password was chosen
	Active       bool
	CreatedAt    time.Time
}

// NewPerson is a person to be added.
type NewPerson struct {
	Name         string
	Login        string
	Role         Role
	PasswordHash string // PHC string; may be empty until the person chooses a password
}

const personColumns = `p.id, p.name, p.login, p.role, p.language, p.password_hash, p.active, p.created_at`

// foldLogin makes log-in names that differ only in case the same.
func foldLogin(login string) string { return strings.ToLower(strings.TrimSpace(login)) }

// AddPerson adds a person; by is 0 when the program itself does it.
func (s *Store) AddPerson(ctx context.Context, by int64, p NewPerson) (added Person, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		added, err = addPerson(ctx, tx, now, by, p)
		return err
	})
	return added, err
}

func addPerson(ctx context.Context, tx pgx.Tx, now time.Time, by int64, p NewPerson) (Person, error) {
	return one[Person](ctx, tx, `
		INSERT INTO people AS p (name, login, role, password_hash, created_at, created_by)
		VALUES ($1, $2, $3, nullif($4, ''), $5, nullif($6, 0))
		RETURNING `+personColumns,
		p.Name, foldLogin(p.Login), p.Role, p.PasswordHash, now, by)
}

// People lists everyone, the active ones first, by name.
func (s *Store) People(ctx context.Context) ([]Person, error) {
	return many[Person](ctx, s.pool, `SELECT `+personColumns+` FROM people p ORDER BY active DESC, name, id`)
}

// Person returns one person.
func (s *Store) Person(ctx context.Context, id int64) (Person, error) {
	return one[Person](ctx, s.pool, `SELECT `+personColumns+` FROM people p WHERE id = $1`, id)
}

// PersonByLogin returns the person with that log-in name, active or not.
func (s *Store) PersonByLogin(ctx context.Context, login string) (Person, error) {
	return one[Person](ctx, s.pool, `SELECT `+personColumns+` FROM people p WHERE login = $1`, foldLogin(login))
}

// HasOwner says whether there is an active owner.
func (s *Store) HasOwner(ctx context.Context) (bool, error) {
	return value[bool](ctx, s.pool, `SELECT EXISTS (SELECT FROM people WHERE role = 'owner' AND active)`)
}

// UpdatePerson changes name, log-in name, role and whether the person is
// active. A person who is no longer active is signed out.
func (s *Store) UpdatePerson(ctx context.Context, by int64, p Person) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE people SET name = $2, login = $3, role = $4, active = $5 WHERE id = $1`,
			p.ID, p.Name, foldLogin(p.Login), p.Role, p.Active); err != nil {
			return err
		}
		if p.Active {
			return nil
		}
		return endSessions(ctx, tx, p.ID)
	})
}

// SetLanguage keeps the language a person reads; empty is the shop's.
func (s *Store) SetLanguage(ctx context.Context, id int64, tag string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE people SET language = $2 WHERE id = $1`, id, tag)
	})
}

// SetPassword keeps a new password's hash and signs the person out everywhere.
func (s *Store) SetPassword(ctx context.Context, by, id int64, phc string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error { return setPassword(ctx, tx, id, phc) })
}

func setPassword(ctx context.Context, tx pgx.Tx, id int64, phc string) error {
	if err := must(ctx, tx, `UPDATE people SET password_hash = $2 WHERE id = $1`, id, phc); err != nil {
		return err
	}
	return endSessions(ctx, tx, id)
}

// RehashPassword keeps the same password under newer parameters; sessions stay.
// It does nothing if the password was changed meanwhile.
func (s *Store) RehashPassword(ctx context.Context, id int64, oldPHC, newPHC string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `UPDATE people SET password_hash = $3 WHERE id = $1 AND password_hash = $2`, id, oldPHC, newPHC)
		return err
	})
}
