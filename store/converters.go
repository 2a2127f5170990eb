package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// ConverterPaper is the paperwork of an aftermarket converter. Dates are the
// shop's, at midnight UTC. The removed unit is kept 15 days, the papers 6 months
// (51 FR 28114; 52 FR 42144, as summarised in ICR 2060-0135).
type ConverterPaper struct {
	ID             int64
	JobID          int64
	Bank           int
	Need           string // the statement of need
	PartNumber     string
	Tag            string // on the removed unit
	CustomerName   string
	RemovedOn      time.Time
	InvoicedOn     *time.Time
	KeepUnitUntil  time.Time // set by the store
	KeepPaperUntil time.Time // set by the store
	SignedOn       *time.Time
	CardFilledOn   *time.Time // the maker's warranty card
	UnitGoneOn     *time.Time
}

const converterPapersSQL = `
	SELECT c.id, c.job_id, c.bank, c.need, c.part_number, c.tag, c.customer_name, c.removed_on, c.invoiced_on, c.keep_unit_until,
		c.keep_paper_until, c.signed_on, c.card_filled_on, c.unit_gone_on
	FROM converter_papers c `

// SaveConverterPaper adds a converter's paperwork, or changes it if it has an
// id, and returns the id.
func (s *Store) SaveConverterPaper(ctx context.Context, by int64, c ConverterPaper) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		args := []any{c.JobID, c.Bank, c.Need, c.PartNumber, c.Tag, c.CustomerName, c.RemovedOn, c.InvoicedOn, c.SignedOn, c.CardFilledOn, c.UnitGoneOn, now, by}
		if c.ID == 0 {
			id, err = value[int64](ctx, tx, `
				INSERT INTO converter_papers (job_id, bank, need, part_number, tag, customer_name, removed_on, invoiced_on, signed_on, card_filled_on,
					unit_gone_on, at, by)
				VALUES ($1, $2::bigint, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13) RETURNING id`, args...)
		} else {
			id, err = value[int64](ctx, tx, `
				UPDATE converter_papers SET (bank, need, part_number, tag, customer_name, removed_on, invoiced_on, signed_on, card_filled_on,
					unit_gone_on, at, by) = ($2::bigint, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
				WHERE job_id = $1 AND id = $14 RETURNING id`, append(args, c.ID)...)
		}
		return err
	})
	return id, err
}

// ConverterPapers lists a job's converter paperwork.
func (s *Store) ConverterPapers(ctx context.Context, jobID int64) ([]ConverterPaper, error) {
	return many[ConverterPaper](ctx, s.pool, converterPapersSQL+`WHERE c.job_id = $1 ORDER BY c.id`, jobID)
}

// OpenConverterPapers lists the paperwork that still asks for something: a
// signature, a card, a unit to be kept or let go. The first due is first.
func (s *Store) OpenConverterPapers(ctx context.Context) ([]ConverterPaper, error) {
	return many[ConverterPaper](ctx, s.pool, converterPapersSQL+`
		WHERE c.unit_gone_on IS NULL OR c.signed_on IS NULL OR c.card_filled_on IS NULL ORDER BY c.keep_unit_until, c.id`)
}
