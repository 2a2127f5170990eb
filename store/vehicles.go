package store

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// Vehicle is a car the shop knows.
type Vehicle struct {
	ID            int64
	CustomerID    int64
	Plate         string
	VIN           string // upper case, without spaces; may be empty
	Make          string
	Model         string
	ModelYear     int    // 0 is unknown
	Family        string // cars that share engine and exhaust; the shop's own word
	Cylinders     int
	Arrangement   string  // inline, v, flat
	DisplacementL float64 // litres
	Fuel          string
	AirMetering   string // maf, map
	CreatedAt     time.Time
}

// Sensor is a sensor location of a car or a layout.
type Sensor struct {
	Bank      int
	Position  int
	Kind      diag.SensorKind
	Wires     int
	Common    bool   // behind both banks, kept under bank 1
	Connector string // in the shop's words; a layout has none
}

// Fitting is one sensor's time at its place. What is not known is nil.
type Fitting struct {
	ID         int64
	VehicleID  int64
	Bank       int
	Position   int
	Kind       diag.SensorKind
	PartNumber string
	RepairID   *int64
	JobID      *int64 // the job it was fitted in
	FittedAt   *time.Time
	FittedKm   *int
	RemovedAt  *time.Time
	RemovedKm  *int
	RemovedJob *int64
	RemovedWhy string // a cause, or words
}

const (
	vehicleColumns = `v.id, v.customer_id, v.plate, v.vin, v.make, v.model, v.model_year, v.family, v.cylinders,
		v.arrangement, v.displacement_l, v.fuel, v.air_metering, v.created_at`
	sensorColumns  = `s.bank, s.position, s.kind, s.wires, s.common, s.connector`
	fittingColumns = `f.id, f.vehicle_id, f.bank, f.position, f.kind, f.part_number, f.repair_id,
		(SELECT r.job_id FROM repairs r WHERE r.id = f.repair_id) AS job_id,
		f.fitted_at, f.fitted_km, f.removed_at, f.removed_km, f.removed_job, f.removed_why`
	// The last odometer reading of a car, in km; 0 where none was ever taken.
	lastKm = `coalesce((SELECT odometer_km FROM jobs WHERE vehicle_id = v.id AND odometer_km IS NOT NULL
		ORDER BY opened_at DESC LIMIT 1), 0)`
)

// foldVIN takes out what people put in when they copy a VIN.
func foldVIN(vin string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(strings.TrimSpace(vin)))
}

// Diag returns the vehicle as the engine wants it.
func (v Vehicle) Diag(sensors []Sensor, odometerKm int) diag.Vehicle {
	d := diag.Vehicle{Cylinders: v.Cylinders, Arrangement: v.Arrangement, DisplacementL: v.DisplacementL,
		Fuel: v.Fuel, AirMetering: v.AirMetering, OdometerKm: odometerKm}
	for _, s := range sensors {
		d.Sensors = append(d.Sensors, diag.Sensor{Bank: s.Bank, Position: s.Position, Kind: s.Kind, Wires: s.Wires, Common: s.Common})
	}
	return d
}

// AddVehicle adds a car with its sensor locations.
func (s *Store) AddVehicle(ctx context.Context, by int64, v Vehicle, sensors []Sensor) (added Vehicle, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		added, err = addVehicle(ctx, tx, now, by, v, sensors)
		return err
	})
	return added, err
}

func addVehicle(ctx context.Context, tx pgx.Tx, now time.Time, by int64, v Vehicle, sensors []Sensor) (Vehicle, error) {
	added, err := one[Vehicle](ctx, tx, `
		INSERT INTO vehicles AS v (customer_id, plate, vin, make, model, model_year, family, cylinders, arrangement,
			displacement_l, fuel, air_metering, created_at, created_by)
		VALUES ($1, $2, $3, $4, $5, $6::bigint, $7, $8::bigint, $9, $10, $11, $12, $13, $14) RETURNING `+vehicleColumns,
		v.CustomerID, v.Plate, foldVIN(v.VIN), v.Make, v.Model, v.ModelYear, v.Family, v.Cylinders, v.Arrangement,
		v.DisplacementL, v.Fuel, v.AirMetering, now, by)
	if err != nil {
		return added, err
	}
	return added, setSensors(ctx, tx, added.ID, sensors)
}

// UpdateVehicle changes a car's data, its owner included.
func (s *Store) UpdateVehicle(ctx context.Context, by int64, v Vehicle) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `
			UPDATE vehicles SET customer_id = $2, plate = $3, vin = $4, make = $5, model = $6, model_year = $7::bigint,
				family = $8, cylinders = $9::bigint, arrangement = $10, displacement_l = $11, fuel = $12, air_metering = $13
			WHERE id = $1`, v.ID, v.CustomerID, v.Plate, foldVIN(v.VIN), v.Make, v.Model, v.ModelYear, v.Family, v.Cylinders,
			v.Arrangement, v.DisplacementL, v.Fuel, v.AirMetering)
	})
}

// SetSensors replaces a car's sensor locations.
func (s *Store) SetSensors(ctx context.Context, by, vehicleID int64, sensors []Sensor) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		// Two people who set the same car up wait for each other.
		if err := must(ctx, tx, `SELECT FROM vehicles WHERE id = $1 FOR UPDATE`, vehicleID); err != nil {
			return err
		}
		if err := setSensors(ctx, tx, vehicleID, sensors); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `SELECT pg_notify('crosscount_job', id::text) FROM jobs
			WHERE vehicle_id = $1 AND closed_at IS NULL AND cancelled_at IS NULL`, vehicleID)
		return err
	})
}

func setSensors(ctx context.Context, tx pgx.Tx, vehicleID int64, sensors []Sensor) error {
	var b pgx.Batch
	b.Queue(`DELETE FROM vehicle_sensors WHERE vehicle_id = $1`, vehicleID)
	for _, s := range sensors {
		b.Queue(`INSERT INTO vehicle_sensors (vehicle_id, bank, position, kind, wires, common, connector)
			VALUES ($1, $2::bigint, $3::bigint, $4, $5::bigint, $6, $7)`,
			vehicleID, s.Bank, s.Position, s.Kind, s.Wires, s.Common, s.Connector)
	}
	return tx.SendBatch(ctx, &b).Close()
}

// Vehicle returns one car.
func (s *Store) Vehicle(ctx context.Context, id int64) (Vehicle, error) {
	return one[Vehicle](ctx, s.pool, `SELECT `+vehicleColumns+` FROM vehicles v WHERE id = $1`, id)
}

// Sensors lists a car's sensor locations by bank and position.
func (s *Store) Sensors(ctx context.Context, vehicleID int64) ([]Sensor, error) {
	return many[Sensor](ctx, s.pool, sensorsSQL, vehicleID)
}

const sensorsSQL = `SELECT ` + sensorColumns + ` FROM vehicle_sensors s WHERE vehicle_id = $1 ORDER BY bank, position`

// FoundVehicle is a car with what tells it from others.
type FoundVehicle struct {
	Vehicle
	CustomerName  string
	CustomerPhone string
	LastKm        int        // 0 is unknown
	LastClosedAt  *time.Time // of its latest closed job
	OpenJobID     *int64     // a job of this car that is not finished
}

const foundVehicles = `SELECT ` + vehicleColumns + `, c.name AS customer_name, c.phone AS customer_phone, ` + lastKm + ` AS last_km,
	(SELECT max(closed_at) FROM jobs WHERE vehicle_id = v.id) AS last_closed_at,
	(SELECT max(id) FROM jobs WHERE vehicle_id = v.id AND closed_at IS NULL AND cancelled_at IS NULL) AS open_job_id
	FROM vehicles v JOIN customers c ON c.id = v.customer_id `

// FindVehicles lists cars that have a job which Search would find by the text,
// in the same order, at most limit.
func (s *Store) FindVehicles(ctx context.Context, text string, limit int) ([]FoundVehicle, error) {
	return many[FoundVehicle](ctx, s.pool, `
		WITH found AS (
			SELECT j.vehicle_id, min(f.n) AS n
			FROM search_jobs($1, 5 * $2::integer) WITH ORDINALITY AS f (job_id, exact, n) JOIN jobs j ON j.id = f.job_id
			GROUP BY j.vehicle_id
		)`+foundVehicles+`JOIN found ON found.vehicle_id = v.id ORDER BY found.n LIMIT $2`, text, limit)
}

// VehicleByVIN returns the car with that VIN.
func (s *Store) VehicleByVIN(ctx context.Context, vin string) (FoundVehicle, error) {
	return one[FoundVehicle](ctx, s.pool, foundVehicles+`WHERE v.vin = $1 AND $1 <> ''`, foldVIN(vin))
}

// VehiclesByPlate lists the cars that carry that plate, the latest known first.
func (s *Store) VehiclesByPlate(ctx context.Context, plate string) ([]FoundVehicle, error) {
	return many[FoundVehicle](ctx, s.pool, foundVehicles+`
		WHERE plate_key = upper(regexp_replace($1, '[^[:alnum:]]', '', 'g')) AND plate_key <> '' ORDER BY v.id DESC`, plate)
}

// VehiclesOf lists a customer's cars, the latest known first.
func (s *Store) VehiclesOf(ctx context.Context, customerID int64) ([]FoundVehicle, error) {
	return many[FoundVehicle](ctx, s.pool, foundVehicles+`WHERE v.customer_id = $1 ORDER BY v.id DESC`, customerID)
}

// VehicleHistory is all the shop knows of a car.
type VehicleHistory struct {
	Vehicle  Vehicle
	Customer Customer
	LastKm   int // 0 is unknown
	Sensors  []Sensor
	Fittings []Fitting // by place, the oldest first
	Jobs     []JobSummary
}

// VehicleHistory returns a car with its sensors' lives and its jobs, the
// latest job first.
func (s *Store) VehicleHistory(ctx context.Context, vehicleID int64) (h VehicleHistory, err error) {
	err = s.read(ctx, func(tx pgx.Tx) error {
		h.Vehicle, err = one[Vehicle](ctx, tx, `SELECT `+vehicleColumns+` FROM vehicles v WHERE id = $1`, vehicleID)
		if err != nil {
			return err
		}
		var b pgx.Batch
		queueOne(&b, &h.Customer, `SELECT `+customerColumns+` FROM customers c WHERE id = $1`, h.Vehicle.CustomerID)
		queueValue(&b, &h.LastKm, `SELECT `+lastKm+` FROM vehicles v WHERE id = $1`, vehicleID)
		queueMany(&b, &h.Sensors, sensorsSQL, vehicleID)
		queueMany(&b, &h.Fittings, fittingsSQL, vehicleID)
		queueMany(&b, &h.Jobs, jobSummaries+`WHERE j.vehicle_id = $1 ORDER BY j.opened_at DESC, j.id DESC`, vehicleID)
		return tx.SendBatch(ctx, &b).Close()
	})
	return h, err
}

const fittingsSQL = `SELECT ` + fittingColumns + ` FROM sensor_fittings f WHERE f.vehicle_id = $1
	ORDER BY f.bank, f.position, f.fitted_at NULLS FIRST, f.id`

// queueOne, queueMany and queueValue read a batch's answers into dst.
func queueOne[T any](b *pgx.Batch, dst *T, sql string, args ...any) {
	b.Queue(sql, args...).Query(func(rows pgx.Rows) (err error) {
		*dst, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[T])
		return err
	})
}

func queueMany[T any](b *pgx.Batch, dst *[]T, sql string, args ...any) {
	b.Queue(sql, args...).Query(func(rows pgx.Rows) (err error) {
		*dst, err = pgx.CollectRows(rows, pgx.RowToStructByName[T])
		return err
	})
}

func queueValue[T any](b *pgx.Batch, dst *T, sql string, args ...any) {
	b.Queue(sql, args...).Query(func(rows pgx.Rows) (err error) {
		*dst, err = pgx.CollectExactlyOneRow(rows, pgx.RowTo[T])
		return err
	})
}
