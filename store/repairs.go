package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Repair is something that was done to the car.
type Repair struct {
	ID         int64
	JobID      int64
	At         time.Time
	By         int64
	ByName     string
	Action     string // mended, fitted
	Cause      string // what it was meant to mend; may be empty for a fitting
	Bank       int
	Position   int
	Kind       diag.SensorKind // of a fitting
	PartNumber string
	TorqueNm   *float64 // how tight a new sensor was made
	Words      string
	Despite    string // why a part went in before the maker of the damage was mended
	UndoneAt   *time.Time
	UndoneBy   *int64
	UndoneWhy  string
}

// The actions of a repair.
const (
	Mended = "mended"
	Fitted = "fitted"
)

// NewRepair is a repair to be written down.
type NewRepair struct {
	JobID      int64
	Action     string // mended, fitted
	Cause      string
	Bank       int
	Position   int
	Kind       diag.SensorKind
	PartNumber string
	TorqueNm   *float64 // N·m; nil is not written down
	Words      string
	Despite    string
}

const repairsSQL = `
	SELECT r.id, r.job_id, r.at, r.by, p.name AS by_name, r.action, r.cause, r.bank, r.position, r.kind, r.part_number,
		r.torque_nm, r.words, r.despite, r.undone_at, r.undone_by, r.undone_why
	FROM repairs r JOIN people p ON p.id = r.by `

// AddRepair writes a repair down. A fitting ends the life of the sensor that
// sat there and begins that of the new one.
func (s *Store) AddRepair(ctx context.Context, by int64, n NewRepair) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, n.JobID); err != nil {
			return err
		}
		id, err = value[int64](ctx, tx, `
			INSERT INTO repairs (job_id, at, by, action, cause, bank, position, kind, part_number, words, despite, torque_nm)
			VALUES ($1, $2, $3, $4, $5, $6::bigint, $7::bigint, $8, $9, $10, $11, $12) RETURNING id`,
			n.JobID, now, by, n.Action, n.Cause, n.Bank, n.Position, n.Kind, n.PartNumber, n.Words, n.Despite, n.TorqueNm)
		if err != nil || n.Action != Fitted {
			return err
		}
		return fit(ctx, tx, now, id)
	})
	return id, err
}

// fit moves the sensors' lives on by a repair that fitted one.
func fit(ctx context.Context, tx pgx.Tx, now time.Time, repairID int64) error {
	const repair = `WITH n AS (SELECT r.*, j.vehicle_id, j.odometer_km, coalesce(nullif(r.cause, ''), 'renewed') AS why
		FROM repairs r JOIN jobs j ON j.id = r.job_id WHERE r.id = $1) `
	tag, err := tx.Exec(ctx, repair+`
		UPDATE sensor_fittings f SET removed_at = $2, removed_km = n.odometer_km, removed_job = n.job_id, removed_why = n.why
		FROM n WHERE f.vehicle_id = n.vehicle_id AND f.bank = n.bank AND f.position = n.position AND f.removed_at IS NULL`,
		repairID, now)
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 { // the old one's beginning is not known
		if _, err := tx.Exec(ctx, repair+`
			INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, removed_at, removed_km, removed_job, removed_why)
			SELECT n.vehicle_id, n.bank, n.position, coalesce(s.kind, n.kind), $2, n.odometer_km, n.job_id, n.why
			FROM n LEFT JOIN vehicle_sensors s USING (vehicle_id, bank, position)`, repairID, now); err != nil {
			return err
		}
	}
	_, err = tx.Exec(ctx, repair+`
		INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, part_number, repair_id, fitted_at, fitted_km)
		SELECT vehicle_id, bank, position, kind, part_number, id, $2, odometer_km FROM n`, repairID, now)
	return err
}

// UndoRepair takes a repair back that was written down wrongly. The work is no
// longer finished or proved.
func (s *Store) UndoRepair(ctx context.Context, by, jobID, repairID int64, why string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := lockJob(ctx, tx, jobID); err != nil {
			return err
		}
		if err := must(ctx, tx, `UPDATE repairs SET undone_at = $3, undone_by = $4, undone_why = $5
			WHERE id = $2 AND job_id = $1`, jobID, repairID, now, by, why); err != nil {
			return err
		}
		gone, err := many[Fitting](ctx, tx, `WITH f AS (DELETE FROM sensor_fittings WHERE repair_id = $1 RETURNING *)
			SELECT `+fittingColumns+` FROM f`, repairID)
		if err != nil {
			return err
		}
		for _, f := range gone { // none or one
			if _, err := tx.Exec(ctx, `UPDATE sensor_fittings
				SET removed_at = NULL, removed_km = NULL, removed_job = NULL, removed_why = ''
				WHERE vehicle_id = $1 AND bank = $2 AND position = $3 AND removed_at = $4`,
				f.VehicleID, f.Bank, f.Position, f.FittedAt); err != nil {
				return err
			}
		}
		if _, err := tx.Exec(ctx, `UPDATE jobs SET repaired_at = NULL, proved_at = NULL
			WHERE id = $1 AND repaired_at IS NOT NULL`, jobID); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "undone", why)
	})
}

// FinishRepair says that the repair is done and wants its proof.
func (s *Store) FinishRepair(ctx context.Context, by, jobID int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if err := must(ctx, tx, `UPDATE jobs SET repaired_at = coalesce(repaired_at, greatest($2, approved_at)) WHERE id = $1`,
			jobID, now); err != nil {
			return err
		}
		return logJob(ctx, tx, now, by, jobID, "repaired", "")
	})
}

// AddFitting writes down what is known of a sensor that sits in a car but was
// not fitted in a job here: by an earlier shop, at the works.
func (s *Store) AddFitting(ctx context.Context, by int64, f Fitting) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		id, err = value[int64](ctx, tx, `
			INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, part_number, fitted_at, fitted_km)
			VALUES ($1, $2::bigint, $3::bigint, $4, $5, $6, $7::bigint) RETURNING id`,
			f.VehicleID, f.Bank, f.Position, f.Kind, f.PartNumber, f.FittedAt, f.FittedKm)
		return err
	})
	return id, err
}
