package store

import (
	"context"
	"time"
)

// FoundJob is a job that a search found.
type FoundJob struct {
	JobID         int64
	Exact         bool // it has all the words; otherwise words spelt much like them
	VehicleID     int64
	CustomerID    int64
	CustomerName  string
	CustomerPhone string
	Plate         string
	VIN           string
	Make          string
	Model         string
	ModelYear     int
	Concern       string
	OpenedAt      time.Time
	ClosedAt      *time.Time
	CancelledAt   *time.Time
	Outcome       *string
}

// Search finds jobs by anything: name, telephone number, plate, VIN or its
// tail, code, part number, words of the concern, the job's number; whole or
// begun, with typing errors, in any order. The best come first, of these the
// latest; at most limit.
func (s *Store) Search(ctx context.Context, text string, limit int) ([]FoundJob, error) {
	return many[FoundJob](ctx, s.pool, `
		SELECT j.id AS job_id, f.exact, j.vehicle_id, j.customer_id, c.name AS customer_name, c.phone AS customer_phone, v.plate, v.vin, v.make,
			v.model, v.model_year, j.concern, j.opened_at, j.closed_at, j.cancelled_at, j.outcome
		FROM search_jobs($1, $2) WITH ORDINALITY AS f (job_id, exact, n)
		JOIN jobs j ON j.id = f.job_id JOIN customers c ON c.id = j.customer_id JOIN vehicles v ON v.id = j.vehicle_id
		ORDER BY f.n`, text, limit)
}
