package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Scope tells the search for the cause from its mending.
type Scope string

// The scopes.
const (
	ScopeDiagnosis Scope = "diagnosis"
	ScopeRepair    Scope = "repair"
)

// Money is all of a job that has to do with money. Amounts are in minor units
// of Currency.
type Money struct {
	Currency       string // of the shop, if nothing was written down yet
	Authorisations []Authorisation
	Lines          []Line
	Documents      []Document
	Payments       []Payment
}

// InForce returns the customer's last word on a scope, if there is one.
func (m Money) InForce(scope Scope) (Authorisation, bool) {
	for i := len(m.Authorisations) - 1; i >= 0; i-- {
		if m.Authorisations[i].Scope == scope {
			return m.Authorisations[i], true
		}
	}
	return Authorisation{}, false
}

// Sum adds up the lines of a scope that have one of the states, net and tax
// apart. An empty scope is both.
func (m Money) Sum(scope Scope, states ...LineStatus) (net, tax int64) {
	for _, l := range m.Lines {
		for _, s := range states {
			if l.Status == s && (scope == "" || l.Scope == scope) {
				net, tax = net+l.AmountMinor, tax+l.TaxMinor
			}
		}
	}
	return net, tax
}

// Paid returns what was paid on a document.
func (m Money) Paid(documentID int64) (paid int64) {
	for _, p := range m.Payments {
		if p.DocumentID == documentID {
			paid += p.AmountMinor
		}
	}
	return paid
}

// Authorisation is a customer's yes: to the whole of a scope, up to a limit,
// tax included.
type Authorisation struct {
	ID         string
	JobID      int64
	Scope      Scope
	LimitMinor int64
	Who        string
	How        string // in_person, telephone, message, email, signature
	SaidAt     time.Time
	Words      string
	Promise    json.RawMessage // what the customer was told; may be nil
	At         time.Time
	By         int64
	ByName     string
}

// NewAuthorisation is a yes to be written down. It may be sent any number of
// times and is taken once.
type NewAuthorisation struct {
	ID         string // UUID
	JobID      int64
	Scope      Scope
	LimitMinor int64
	Who        string
	How        string
	SaidAt     time.Time // zero: now
	Words      string
	Promise    json.RawMessage // an object; may be nil
}

// LineStatus is how far a line is.
type LineStatus string

// The states of a line.
const (
	LineOffered  LineStatus = "offered"
	LineAccepted LineStatus = "accepted"
	LineDeclined LineStatus = "declined"
	LineDone     LineStatus = "done"
)

// Line is a line of estimate and invoice. Amount and tax are each rounded to
// the minor unit, half away from zero.
type Line struct {
	ID             int64
	JobID          int64
	Scope          Scope
	Kind           string // labour, part, fee, discount
	Words          string
	QuantityMilli  int64 // thousandths of an hour or piece
	UnitMinor      int64 // negative for a discount
	AmountMinor    int64 // quantity × unit
	TaxPPM         int   // millionths: 72500 is 7.25 %
	TaxMinor       int64
	Cause          string // what it mends
	Test           string // what it pays for
	Bank           int
	Position       int
	SensorKind     diag.SensorKind // of a sensor, else empty
	Wires          int             // 0 is not said
	Connector      string
	PartNumber     string
	Supplier       string
	CoreMinor      int64 // deposit on the old part, not in the amount
	Status         LineStatus
	DeclinedAt     *time.Time
	DeclinedByName *string
	Consequence    string // of declining, as it was said
	InvoiceID      *int64
	At             time.Time
	By             int64
}

// Document is an estimate or invoice as it was handed out.
type Document struct {
	ID         int64
	JobID      int64
	Kind       string // estimate, invoice
	Number     int64  // per kind, without gaps
	NetMinor   int64
	TaxMinor   int64
	TotalMinor int64
	Body       json.RawMessage // all that stands on the paper
	At         time.Time
	By         int64
	ByName     string
	VoidedAt   *time.Time
	VoidedWhy  string
}

// Payment is money on an invoice; a refund is negative.
type Payment struct {
	ID          string
	DocumentID  int64
	JobID       int64
	AmountMinor int64
	Method      string // cash, card, transfer, other
	Words       string
	At          time.Time
	By          int64
	ByName      string
}

// Money returns all of a job that has to do with money, as it stood at one
// moment.
func (s *Store) Money(ctx context.Context, jobID int64) (m Money, err error) {
	err = s.read(ctx, func(tx pgx.Tx) error {
		var b pgx.Batch
		queueValue(&b, &m.Currency, `SELECT coalesce(a.currency, (SELECT currency FROM shop), '')
			FROM jobs j LEFT JOIN accounts a ON a.job_id = j.id WHERE j.id = $1`, jobID)
		queueMany(&b, &m.Authorisations, `SELECT a.id::text, a.job_id, a.scope, a.limit_minor, a.who, a.how, a.said_at, a.words, a.promise,
			a.at, a.by, p.name AS by_name FROM authorisations a JOIN people p ON p.id = a.by WHERE job_id = $1 ORDER BY seq`, jobID)
		queueMany(&b, &m.Lines, linesSQL+`WHERE l.job_id = $1 ORDER BY l.id`, jobID)
		queueMany(&b, &m.Documents, documentsSQL+`WHERE d.job_id = $1 ORDER BY d.id`, jobID)
		queueMany(&b, &m.Payments, `SELECT y.id::text, y.document_id, y.job_id, y.amount_minor, y.method, y.words, y.at, y.by, p.name AS by_name
			FROM payments y JOIN people p ON p.id = y.by WHERE job_id = $1 ORDER BY y.at, y.id`, jobID)
		return tx.SendBatch(ctx, &b).Close()
	})
	return m, err
}

const (
	linesSQL = `
	SELECT l.id, l.job_id, l.scope, l.kind, l.words, (l.quantity * 1000)::bigint AS quantity_milli, l.unit_minor, l.amount_minor,
		l.tax_ppm, l.tax_minor, l.cause, l.test, l.bank, l.position, l.sensor_kind, l.wires, l.connector, l.part_number, l.supplier,
		l.core_minor, l.status, l.declined_at, p.name AS declined_by_name, l.consequence, l.invoice_id, l.at, l.by
	FROM lines l LEFT JOIN people p ON p.id = l.declined_by `
	documentsSQL = `
	SELECT d.id, d.job_id, d.kind, d.number, d.net_minor, d.tax_minor, d.total_minor, d.body, d.at, d.by, p.name AS by_name,
		d.voided_at, d.voided_why
	FROM documents d JOIN people p ON p.id = d.by `
)

// openAccount makes sure that the job has a currency: the shop's when money is
// first written down.
func openAccount(ctx context.Context, tx pgx.Tx, jobID int64) (currency string, err error) {
	if _, err := tx.Exec(ctx, `INSERT INTO accounts SELECT $1, currency FROM shop ON CONFLICT DO NOTHING`, jobID); err != nil {
		return "", err
	}
	return value[string](ctx, tx, `SELECT currency FROM accounts WHERE job_id = $1`, jobID)
}

// Authorise writes a customer's yes down. A yes to the repair approves the
// verdict in force. fresh is false if it was known before.
func (s *Store) Authorise(ctx context.Context, by int64, n NewAuthorisation) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		currency, err := openAccount(ctx, tx, n.JobID)
		if err != nil {
			return err
		}
		if n.SaidAt.IsZero() {
			n.SaidAt = now
		}
		fresh, err = insertOnce(ctx, tx, "authorisations", n.ID,
			`job_id = $2 AND scope = $3 AND limit_minor = $4 AND who = $5 AND how = $6`,
			`INSERT INTO authorisations (id, job_id, scope, limit_minor, who, how, currency, said_at, words, promise, at, by)
			VALUES ($1::text::uuid, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
			[]any{n.JobID, n.Scope, n.LimitMinor, n.Who, n.How}, []any{currency, n.SaidAt, n.Words, n.Promise, now, by})
		if err != nil || !fresh {
			return err
		}
		if n.Scope == ScopeRepair {
			if _, err := tx.Exec(ctx, `UPDATE jobs SET approved_at = greatest($2, diagnosed_at)
				WHERE id = $1 AND approved_at IS NULL AND closed_at IS NULL AND cancelled_at IS NULL`, n.JobID, now); err != nil {
				return err
			}
		}
		return logJob(ctx, tx, now, by, n.JobID, "authorised", n.Words)
	})
	return fresh, err
}

// SaveLine adds a line, or changes the line with that id, and returns the id. Of
// the line it takes what describes it, not its state. No price means that
// nothing is charged.
func (s *Store) SaveLine(ctx context.Context, by int64, l Line) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		args := []any{l.JobID, l.Scope, l.Kind, l.Words, l.QuantityMilli, l.UnitMinor, l.TaxPPM, l.Cause, l.Test, l.Bank, l.Position,
			l.SensorKind, l.Wires, l.Connector, l.PartNumber, l.Supplier, l.CoreMinor, now, by}
		if l.ID != 0 {
			id, err = value[int64](ctx, tx, `
				UPDATE lines SET (scope, kind, words, quantity, unit_minor, tax_ppm, cause, test, bank, position, sensor_kind, wires,
					connector, part_number, supplier, core_minor, at, by) =
					($2, $3, $4, $5::numeric / 1000, $6, $7::bigint, $8, $9, $10::bigint, $11::bigint, $12, $13::bigint, $14, $15, $16, $17, $18, $19)
				WHERE job_id = $1 AND id = $20 RETURNING id`, append(args, l.ID)...)
			return err
		}
		currency, err := openAccount(ctx, tx, l.JobID)
		if err != nil {
			return err
		}
		id, err = value[int64](ctx, tx, `
			INSERT INTO lines (job_id, scope, kind, words, quantity, unit_minor, tax_ppm, cause, test, bank, position, sensor_kind, wires,
				connector, part_number, supplier, core_minor, at, by, currency)
			VALUES ($1, $2, $3, $4, $5::numeric / 1000, $6, $7::bigint, $8, $9, $10::bigint, $11::bigint, $12, $13::bigint, $14, $15, $16,
				$17, $18, $19, $20) RETURNING id`, append(args, currency)...)
		return err
	})
	return id, err
}

// RemoveLine takes a line away that is on no invoice.
func (s *Store) RemoveLine(ctx context.Context, by, jobID, lineID int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `DELETE FROM lines WHERE job_id = $1 AND id = $2`, jobID, lineID)
	})
}

// SetLineStatus moves a line on or back. A line is done only within what the
// customer said yes to. To decline one use DeclineLine.
func (s *Store) SetLineStatus(ctx context.Context, by, jobID, lineID int64, status LineStatus) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE lines SET status = $3, declined_at = NULL, declined_by = NULL WHERE job_id = $1 AND id = $2`,
			jobID, lineID, status)
	})
}

// DeclineLine notes that the customer declined a line, with the consequence
// that was said.
func (s *Store) DeclineLine(ctx context.Context, by, jobID, lineID int64, consequence string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE lines SET status = 'declined', declined_at = $3, declined_by = $4, consequence = $5
			WHERE job_id = $1 AND id = $2`, jobID, lineID, now, by, consequence); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "line_declined", consequence)
	})
}

// IssueEstimate keeps an estimate of all lines that are not declined, and
// returns it with its number. body makes what stands on the paper from the
// money as it stands.
func (s *Store) IssueEstimate(ctx context.Context, by, jobID int64, body func(Document, []Line) (json.RawMessage, error)) (Document, error) {
	return s.issue(ctx, by, jobID, "estimate", body)
}

// IssueInvoice keeps an invoice of all lines that are done and on no invoice
// yet, and returns it with its number.
func (s *Store) IssueInvoice(ctx context.Context, by, jobID int64, body func(Document, []Line) (json.RawMessage, error)) (Document, error) {
	return s.issue(ctx, by, jobID, "invoice", body)
}

func (s *Store) issue(ctx context.Context, by, jobID int64, kind string, body func(Document, []Line) (json.RawMessage, error)) (d Document, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		currency, err := openAccount(ctx, tx, jobID)
		if err != nil {
			return err
		}
		// Nobody changes the lines meanwhile.
		lines, err := many[Line](ctx, tx, linesSQL+`WHERE l.job_id = $1 AND CASE $2 WHEN 'invoice'
			THEN l.status = 'done' AND l.invoice_id IS NULL ELSE l.status <> 'declined' END ORDER BY l.id FOR UPDATE OF l`, jobID, kind)
		if err != nil {
			return err
		}
		if len(lines) == 0 {
			return refusal(Rule, "documents_have_lines")
		}
		d = Document{JobID: jobID, Kind: kind, At: now, By: by}
		var ids []int64
		for _, l := range lines {
			ids = append(ids, l.ID)
			d.NetMinor, d.TaxMinor = d.NetMinor+l.AmountMinor, d.TaxMinor+l.TaxMinor
		}
		d.TotalMinor = d.NetMinor + d.TaxMinor
		// The counter's row lock makes the numbers follow each other without a gap.
		if d.Number, err = value[int64](ctx, tx, `UPDATE document_counters SET last = last + 1 WHERE kind = $1 RETURNING last`, kind); err != nil {
			return err
		}
		paper, err := body(d, lines)
		if err != nil {
			return err
		}
		id, err := value[int64](ctx, tx, `
			INSERT INTO documents (job_id, currency, kind, number, net_minor, tax_minor, body, at, by)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING id`,
			jobID, currency, kind, d.Number, d.NetMinor, d.TaxMinor, paper, now, by)
		if err != nil {
			return err
		}
		if kind == "invoice" {
			if _, err := tx.Exec(ctx, `UPDATE lines SET invoice_id = $1 WHERE id = ANY ($2)`, id, ids); err != nil {
				return err
			}
		}
		d, err = one[Document](ctx, tx, documentsSQL+`WHERE d.id = $1`, id)
		return err
	})
	return d, err
}

// Document returns an estimate or invoice.
func (s *Store) Document(ctx context.Context, id int64) (Document, error) {
	return one[Document](ctx, s.pool, documentsSQL+`WHERE d.id = $1`, id)
}

// VoidDocument takes an unpaid document back, with a reason; its number stays
// taken. The lines of an invoice are free again.
func (s *Store) VoidDocument(ctx context.Context, by, jobID, documentID int64, why string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE documents SET voided_at = $3, voided_by = $4, voided_why = $5
			WHERE job_id = $1 AND id = $2`, jobID, documentID, now, by, why); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `UPDATE lines SET invoice_id = NULL WHERE invoice_id = $1`, documentID); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "document_voided", why)
	})
}

// NewPayment is money on an invoice. It may be sent any number of times and is
// taken once.
type NewPayment struct {
	ID          string // UUID
	JobID       int64
	DocumentID  int64
	AmountMinor int64  // negative is a refund
	Method      string // cash, card, transfer, other
	Words       string
}

// AddPayment notes money on an invoice, up to its total. fresh is false if it
// was known before.
func (s *Store) AddPayment(ctx context.Context, by int64, n NewPayment) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		fresh, err = insertOnce(ctx, tx, "payments", n.ID,
			`job_id = $2 AND document_id = $3 AND amount_minor = $4 AND method = $5`,
			`INSERT INTO payments (id, job_id, document_id, amount_minor, method, words, at, by, currency)
			SELECT $1::text::uuid, $2, $3, $4, $5, $6, $7, $8, coalesce((SELECT currency FROM accounts WHERE job_id = $2), '')`,
			[]any{n.JobID, n.DocumentID, n.AmountMinor, n.Method}, []any{n.Words, now, by})
		return err
	})
	return fresh, err
}

// TaxRate is a tax the shop charges.
type TaxRate struct {
	ID     int64
	Name   string
	PPM    int // millionths: 72500 is 7.25 %
	Active bool
}

// TaxRates lists the taxes, the active ones first.
func (s *Store) TaxRates(ctx context.Context) ([]TaxRate, error) {
	return many[TaxRate](ctx, s.pool, `SELECT id, name, ppm, active FROM tax_rates ORDER BY active DESC, ppm DESC, name`)
}

// SaveTaxRate adds a tax, or changes it if it has an id, and returns the id.
func (s *Store) SaveTaxRate(ctx context.Context, by int64, r TaxRate) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if r.ID == 0 {
			id, err = value[int64](ctx, tx, `INSERT INTO tax_rates (name, ppm, active) VALUES ($1, $2::bigint, $3) RETURNING id`, r.Name, r.PPM, r.Active)
		} else {
			id, err = value[int64](ctx, tx, `UPDATE tax_rates SET name = $2, ppm = $3::bigint, active = $4 WHERE id = $1 RETURNING id`,
				r.ID, r.Name, r.PPM, r.Active)
		}
		return err
	})
	return id, err
}
