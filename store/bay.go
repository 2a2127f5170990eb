package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// TestTime is the minutes really spent on a test.
type TestTime struct {
	ID       string // UUID: sent twice, taken once
	JobID    int64
	Test     string
	Bank     int
	Position int
	Minutes  float64
	ClientAt time.Time // zero: now
}

// AddTestTime notes the minutes spent on a test. fresh is false if that was
// known before.
func (s *Store) AddTestTime(ctx context.Context, by int64, n TestTime) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if n.ClientAt.IsZero() {
			n.ClientAt = now
		}
		fresh, err = insertOnce(ctx, tx, "test_times", n.ID,
			`job_id = $2 AND test = $3 AND bank = $4::bigint AND position = $5::bigint AND minutes = $6`,
			`INSERT INTO test_times (id, job_id, test, bank, position, minutes, client_at, at, by)
			VALUES ($1::text::uuid, $2, $3, $4::bigint, $5::bigint, $6, $7, $8, $9)`,
			[]any{n.JobID, n.Test, n.Bank, n.Position, n.Minutes}, []any{n.ClientAt, now, by})
		return err
	})
	return fresh, err
}

// TestMinutes sums up the minutes spent on a test.
type TestMinutes struct {
	Test   string
	Times  int
	Median float64
	P90    float64 // nine in ten took no longer
}

// TestMinutes sums up the minutes noted in a period, by test. A test done at
// several places of one job counts once for each.
func (s *Store) TestMinutes(ctx context.Context, p Period) ([]TestMinutes, error) {
	return many[TestMinutes](ctx, s.pool, `
		SELECT test, count(*) AS times, percentile_cont(0.5) WITHIN GROUP (ORDER BY minutes) AS median,
			percentile_cont(0.9) WITHIN GROUP (ORDER BY minutes) AS p90
		FROM test_times WHERE at >= $1 AND at < $2 GROUP BY test ORDER BY test`, p.From, p.To)
}

// SetAside is a test that cannot be done on a job.
type SetAside struct {
	ID       string // UUID: sent twice, taken once
	JobID    int64
	Test     string
	Bank     int
	Position int
	Why      string
	At       time.Time
	By       int64
	ByName   string
	LiftedAt *time.Time
}

// NewSetAside says that a test cannot be done on a job.
type NewSetAside struct {
	ID       string // UUID
	JobID    int64
	Test     string
	Bank     int
	Position int
	Why      string
	ClientAt time.Time // zero: now
}

// SetTestAside notes that a test cannot be done here. fresh is false if that
// was known before.
func (s *Store) SetTestAside(ctx context.Context, by int64, n NewSetAside) (fresh bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if n.ClientAt.IsZero() {
			n.ClientAt = now
		}
		fresh, err = insertOnce(ctx, tx, "set_asides", n.ID,
			`job_id = $2 AND test = $3 AND bank = $4::bigint AND position = $5::bigint AND why = $6`,
			`INSERT INTO set_asides (id, job_id, test, bank, position, why, client_at, at, by)
			VALUES ($1::text::uuid, $2, $3, $4::bigint, $5::bigint, $6, $7, $8, $9)`,
			[]any{n.JobID, n.Test, n.Bank, n.Position, n.Why}, []any{n.ClientAt, now, by})
		return err
	})
	return fresh, err
}

// LiftSetAside says that the test can be done after all; twice is no error.
func (s *Store) LiftSetAside(ctx context.Context, by, jobID int64, id string) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `UPDATE set_asides SET lifted_at = coalesce(lifted_at, $3), lifted_by = coalesce(lifted_by, $4)
			WHERE job_id = $1 AND id = $2::text::uuid`, jobID, id, now, by)
	})
}

const setAsidesSQL = `
	SELECT s.id::text, s.job_id, s.test, s.bank, s.position, s.why, s.at, s.by, p.name AS by_name, s.lifted_at
	FROM set_asides s JOIN people p ON p.id = s.by `

// MakerData is what the maker says of a place of a family of cars, or of one
// car without a family. What was not entered is nil.
type MakerData struct {
	ID        int64
	Family    string // or VehicleID
	VehicleID *int64
	Bank      int
	Position  int
	TorqueNm  *float64
	Thread    string // as the maker writes it
	SocketMm  *float64
	OhmLow    *float64 // heater, cold
	OhmHigh   *float64
	KPaLow    *float64 // fuel pressure; of the engine
	KPaHigh   *float64
	Words     string
	Source    string // where it was read
	ChangedAt time.Time
	ChangedBy int64
}

const makerDataSQL = `
	SELECT m.id, m.family, m.vehicle_id, m.bank, m.position, m.torque_nm, m.thread, m.socket_mm, m.ohm_low, m.ohm_high,
		m.kpa_low, m.kpa_high, m.words, m.source, m.changed_at, m.changed_by
	FROM maker_data m `

// SaveMakerData keeps the maker's figures for a place; earlier ones for it go.
func (s *Store) SaveMakerData(ctx context.Context, by int64, m MakerData) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO maker_data (family, vehicle_id, bank, position, torque_nm, thread, socket_mm, ohm_low, ohm_high,
				kpa_low, kpa_high, words, source, changed_at, changed_by)
			VALUES ($1, $2, $3::bigint, $4::bigint, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)
			ON CONFLICT (family, coalesce(vehicle_id, 0), bank, position) DO UPDATE SET
				(torque_nm, thread, socket_mm, ohm_low, ohm_high, kpa_low, kpa_high, words, source, changed_at, changed_by) =
				($5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
			m.Family, m.VehicleID, m.Bank, m.Position, m.TorqueNm, m.Thread, m.SocketMm, m.OhmLow, m.OhmHigh,
			m.KPaLow, m.KPaHigh, m.Words, m.Source, now, by)
		return err
	})
}

// MakerData lists the maker's figures for a car, by place.
func (s *Store) MakerData(ctx context.Context, vehicleID int64) ([]MakerData, error) {
	return many[MakerData](ctx, s.pool, makerDataSQL+`JOIN vehicles v ON v.id = $1
		WHERE m.vehicle_id = v.id OR (m.family <> '' AND m.family = v.family) ORDER BY m.bank, m.position, m.id`, vehicleID)
}
