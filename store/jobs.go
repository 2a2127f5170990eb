package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Job is one work order. The moments say how far it is: each is nil until it
// has come, and a new verdict takes back those after it.
type Job struct {
	ID           int64 // the number people say
	VehicleID    int64
	CustomerID   int64
	Concern      string // in the customer's words
	Odometer     *int   // as read, in OdometerUnit
	OdometerUnit string // km, mi
	OdometerKm   *int
	TechnicianID *int64
	OpenedAt     time.Time
	OpenedBy     int64
	VerdictID    *int64     // the verdict in force
	DiagnosedAt  *time.Time // when it was accepted
	ApprovedAt   *time.Time // the customer said yes to the repair
	RepairedAt   *time.Time
	ProvedAt     *time.Time
	ClosedAt     *time.Time
	ClosedBy     *int64
	Outcome      *string // confirmed, not_found, nothing_wrong, declined
	UnprovedWhy  string  // why a repair left without proof
	CancelledAt  *time.Time
	CancelledBy  *int64
	CancelledWhy string
}

// The outcomes of a closed job.
const (
	OutcomeConfirmed    = "confirmed"     // the cause or causes are known
	OutcomeNotFound     = "not_found"     // the trouble was there, its cause was not found
	OutcomeNothingWrong = "nothing_wrong" // everything measured well
	OutcomeDeclined     = "declined"      // the customer declined the repair
)

const jobColumns = `j.id, j.vehicle_id, j.customer_id, j.concern, j.odometer, j.odometer_unit, j.odometer_km,
	j.technician_id, j.opened_at, j.opened_by, j.verdict_id, j.diagnosed_at, j.approved_at, j.repaired_at, j.proved_at,
	j.closed_at, j.closed_by, j.outcome, j.unproved_why, j.cancelled_at, j.cancelled_by, j.cancelled_why`

// Intake takes a car in. A customer or vehicle with an id is a known one, one
// without is added.
type Intake struct {
	ID           string // made by the form (NewID): sent twice, taken once
	Customer     Customer
	Vehicle      Vehicle
	Sensors      []Sensor // of a new vehicle
	Concern      string
	Odometer     *int
	OdometerUnit string // km, mi
	TechnicianID int64  // may be 0
	Told         []diag.Entry
	ComebackOf   int64 // the earlier job, or 0
}

// OpenJob opens a job and returns its number. An intake that was taken before
// returns the job it opened then.
func (s *Store) OpenJob(ctx context.Context, by int64, in Intake) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		// The same form sent twice at once waits here for itself.
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended($1, 0))`, in.ID); err != nil {
			return err
		}
		known, err := many[struct{ ID int64 }](ctx, tx, `SELECT id FROM jobs WHERE intake_id = $1::text::uuid`, in.ID)
		if err != nil {
			return err
		}
		if len(known) > 0 {
			id = known[0].ID
			return nil
		}
		if in.Customer.ID == 0 {
			if in.Customer, err = addCustomer(ctx, tx, now, by, in.Customer); err != nil {
				return err
			}
		}
		if in.Vehicle.ID == 0 {
			in.Vehicle.CustomerID = in.Customer.ID
			if in.Vehicle, err = addVehicle(ctx, tx, now, by, in.Vehicle, in.Sensors); err != nil {
				return err
			}
		}
		id, err = value[int64](ctx, tx, `
			INSERT INTO jobs (intake_id, vehicle_id, customer_id, concern, odometer, odometer_unit, technician_id, opened_at, opened_by)
			VALUES ($1::text::uuid, $2, $3, $4, $5::bigint, $6, nullif($7, 0), $8, $9) RETURNING id`,
			in.ID, in.Vehicle.ID, in.Customer.ID, in.Concern, in.Odometer, in.OdometerUnit, in.TechnicianID, now, by)
		if err != nil {
			return err
		}
		for _, body := range in.Told {
			_, err := addEntry(ctx, tx, now, by, NewEntry{ID: NewID(), JobID: id, Body: body, Source: Told, ClientAt: now})
			if err != nil {
				return err
			}
		}
		if in.ComebackOf != 0 {
			err := linkComeback(ctx, tx, now, by, NewComeback{JobID: id, EarlierID: in.ComebackOf, Kind: ComebackNotKnownYet})
			if err != nil {
				return err
			}
		}
		return logJob(ctx, tx, now, by, id, "opened", "")
	})
	return id, err
}

// JobByIntake returns the number of the job that an intake opened, or ErrNotFound.
func (s *Store) JobByIntake(ctx context.Context, intakeID string) (int64, error) {
	return value[int64](ctx, s.pool, `SELECT id FROM jobs WHERE intake_id = $1::text::uuid`, intakeID)
}

// JobEdit is what may be mended on an open job's head.
type JobEdit struct {
	ID           int64
	CustomerID   int64
	Concern      string
	Odometer     *int
	OdometerUnit string
	TechnicianID int64 // may be 0
}

// UpdateJob mends the head of an open job.
func (s *Store) UpdateJob(ctx context.Context, by int64, e JobEdit) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET customer_id = $2, concern = $3, odometer = $4::bigint, odometer_unit = $5,
			technician_id = nullif($6, 0) WHERE id = $1`,
			e.ID, e.CustomerID, e.Concern, e.Odometer, e.OdometerUnit, e.TechnicianID); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, e.ID, "edited", "")
	})
}

// Assign gives an open job to a technician; 0 takes it back.
func (s *Store) Assign(ctx context.Context, by, jobID, technicianID int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET technician_id = nullif($2, 0) WHERE id = $1`, jobID, technicianID); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "assigned", "")
	})
}

// Approve notes the customer's yes to the repair; words say how it was given.
func (s *Store) Approve(ctx context.Context, by, jobID int64, words string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET approved_at = coalesce(approved_at, greatest($2, diagnosed_at)) WHERE id = $1`,
			jobID, now); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "approved", words)
	})
}

// CancelJob ends a job that will not be carried on.
func (s *Store) CancelJob(ctx context.Context, by, jobID int64, why string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET cancelled_at = $2, cancelled_by = $3, cancelled_why = $4 WHERE id = $1`,
			jobID, now, by, why); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "cancelled", why)
	})
}

// LogLine says who did what to a job.
type LogLine struct {
	ID     int64
	At     time.Time
	By     int64
	ByName string
	What   string // note, opened, edited, assigned, accepted, overridden, approved, repaired, proved, closed, cancelled, reopened …
	Words  string
}

// AddNote writes a note into a job's log; a finished job takes notes too.
func (s *Store) AddNote(ctx context.Context, by, jobID int64, words string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error { return logJob(ctx, tx, now, by, jobID, "note", words) })
}

// AddNoteOnce writes a note whose id (a UUID) was made by the sender, so that it
// may be sent any number of times. fresh is false if it was known before.
func (s *Store) AddNoteOnce(ctx context.Context, by, jobID int64, id, words string) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		tag, err := tx.Exec(ctx, `INSERT INTO job_log (job_id, at, by, what, words, sent_id) VALUES ($1, $2, $3, 'note', $4, $5::text::uuid)
			ON CONFLICT (sent_id) DO NOTHING`, jobID, now, by, words, id)
		fresh = err == nil && tag.RowsAffected() == 1
		return err
	})
	return fresh, err
}

func logJob(ctx context.Context, tx pgx.Tx, now time.Time, by, jobID int64, what, words string) error {
	_, err := tx.Exec(ctx, `INSERT INTO job_log (job_id, at, by, what, words) VALUES ($1, $2, $3, $4, $5)`, jobID, now, by, what, words)
	return err
}
