package store

import (
	"context"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"
)

// Customer is whom the shop works for.
type Customer struct {
	ID        int64
	Name      string
	Phone     string // as the customer says it
	Email     string
	Address   string
	Language  string // BCP 47; empty is the shop's own
	Note      string
	CreatedAt time.Time
}

const customerColumns = `c.id, c.name, c.phone, c.email, c.address, c.language, c.note, c.created_at`

// AddCustomer adds a customer.
func (s *Store) AddCustomer(ctx context.Context, by int64, c Customer) (added Customer, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		added, err = addCustomer(ctx, tx, now, by, c)
		return err
	})
	return added, err
}

func addCustomer(ctx context.Context, tx pgx.Tx, now time.Time, by int64, c Customer) (Customer, error) {
	return one[Customer](ctx, tx, `
		INSERT INTO customers AS c (name, phone, email, address, language, note, created_at, created_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING `+customerColumns,
		c.Name, c.Phone, c.Email, c.Address, c.Language, c.Note, now, by)
}

// UpdateCustomer changes a customer's data.
func (s *Store) UpdateCustomer(ctx context.Context, by int64, c Customer) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE customers SET name = $2, phone = $3, email = $4, address = $5, language = $6, note = $7
			WHERE id = $1`, c.ID, c.Name, c.Phone, c.Email, c.Address, c.Language, c.Note)
	})
}

// Customer returns one customer.
func (s *Store) Customer(ctx context.Context, id int64) (Customer, error) {
	return one[Customer](ctx, s.pool, `SELECT `+customerColumns+` FROM customers c WHERE id = $1`, id)
}

// FindCustomers lists customers whose name contains the text, accents and case
// aside, or whose phone number contains its digits, at most limit, by name. A
// text of one or two letters is taken for the beginning of a name.
func (s *Store) FindCustomers(ctx context.Context, text string, limit int) ([]Customer, error) {
	const (
		found   = `SELECT ` + customerColumns + ` FROM customers c WHERE `
		literal = `replace(replace(replace(fold($1), '\', '\\'), '%', '\%'), '_', '\_')`
	)
	if text = strings.TrimSpace(text); utf8.RuneCountInString(text) < 3 {
		return many[Customer](ctx, s.pool, found+`fold(name) ~>=~ fold($1) AND fold(name) ~<~ (fold($1) || chr(1114111))
			ORDER BY fold(name) USING ~<~, id LIMIT $2`, text, limit)
	}
	return many[Customer](ctx, s.pool, found+`fold(name) LIKE '%' || `+literal+` || '%'
			OR (length(regexp_replace($1, '[^0-9]', '', 'g')) >= 4
				AND phone_digits LIKE '%' || regexp_replace($1, '[^0-9]', '', 'g') || '%')
		ORDER BY name, id LIMIT $2`, text, limit)
}
