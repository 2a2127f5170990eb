package store

import (
	"context"

	"crosscount/diag"
)

// FittedPart is a part number that was fitted at a place of a family of cars,
// and how it fared.
type FittedPart struct {
	PartNumber string
	Kind       diag.SensorKind
	Fitted     int
	CameBack   int // jobs that came back and were not unrelated
	Failed     int // came back because the part failed
	UnitMinor  *int64
	Currency   *string
	Supplier   *string // of the latest line with this part number
}

// FittedParts lists the part numbers fitted at a place of the same family, the
// most fitted first. A car without a family has only its own.
func (s *Store) FittedParts(ctx context.Context, vehicleID int64, bank, position int) ([]FittedPart, error) {
	return many[FittedPart](ctx, s.pool, `
		WITH fitted AS (
			SELECT r.part_number, r.kind, count(*) AS fitted,
				count(*) FILTER (WHERE EXISTS (SELECT FROM comebacks b WHERE b.earlier_id = j.id AND `+related+`)) AS came_back,
				count(*) FILTER (WHERE EXISTS (SELECT FROM comebacks b WHERE b.earlier_id = j.id AND b.kind = 'part_failed')) AS failed
			FROM vehicles v JOIN vehicles o ON o.id = v.id OR (v.family <> '' AND o.family = v.family)
			JOIN jobs j ON j.vehicle_id = o.id JOIN repairs r ON r.job_id = j.id
			WHERE v.id = $1 AND r.action = 'fitted' AND r.undone_at IS NULL AND r.part_number <> '' AND r.bank = $2 AND r.position = $3
			GROUP BY r.part_number, r.kind
		)
		SELECT f.*, l.unit_minor, l.currency, l.supplier FROM fitted f
		LEFT JOIN LATERAL (SELECT unit_minor, currency, nullif(supplier, '') AS supplier FROM lines
			WHERE part_number = f.part_number ORDER BY id DESC LIMIT 1) l ON true
		ORDER BY f.fitted DESC, f.part_number`, vehicleID, bank, position)
}

// LayoutLike is the sensor layout of the nearest known car.
type LayoutLike struct {
	VehicleID int64
	ModelYear int
	Sensors   []Sensor
}

// LayoutLike returns the layout of the known car nearest to one that comes new:
// same make and model, the same engine before another, then the nearest model
// year, then the latest known.
func (s *Store) LayoutLike(ctx context.Context, v Vehicle) (LayoutLike, error) {
	like, err := one[struct {
		ID        int64
		ModelYear int
	}](ctx, s.pool, `
		SELECT id, model_year FROM vehicles v
		WHERE lower(make) = lower($1) AND lower(model) = lower($2) AND EXISTS (SELECT FROM vehicle_sensors s WHERE s.vehicle_id = v.id)
		ORDER BY (cylinders = $4::bigint AND arrangement = $5 AND abs(displacement_l - $6) < 0.05) DESC,
			(fuel = $7) DESC, abs(model_year - $3::bigint), id DESC LIMIT 1`,
		v.Make, v.Model, v.ModelYear, v.Cylinders, v.Arrangement, v.DisplacementL, v.Fuel)
	if err != nil {
		return LayoutLike{}, err
	}
	sensors, err := s.Sensors(ctx, like.ID)
	return LayoutLike{VehicleID: like.ID, ModelYear: like.ModelYear, Sensors: sensors}, err
}

// SimilarJob is a closed job that may have been the same story, with its
// standing evidence for ranking by likelihood.
type SimilarJob struct {
	JobID      int64
	VehicleID  int64
	Make       string
	Model      string
	ModelYear  int
	SameFamily bool
	Shared     []string // codes in common
	Outcome    string
	Causes     []diag.CauseRef
	CameBack   bool
	Evidence   []diag.Entry
}

// SimilarJobs lists closed jobs with a code in common, the same family first,
// then those with more codes in common, then the latest, at most limit. Ranking
// them by likelihood is the caller's.
func (s *Store) SimilarJobs(ctx context.Context, jobID int64, limit int) ([]SimilarJob, error) {
	return many[SimilarJob](ctx, s.pool, `
		WITH wanted AS (
			SELECT DISTINCT code FROM standing_evidence WHERE job_id = $1 AND code IS NOT NULL
		), recent AS ( -- of a common code the latest jobs are enough
			SELECT w.code, e.job_id FROM wanted w CROSS JOIN LATERAL (
				SELECT job_id, id FROM evidence WHERE code = w.code AND job_id <> $1 ORDER BY job_id DESC LIMIT 2000) e
			WHERE NOT EXISTS (SELECT FROM evidence x WHERE x.withdraws = e.id)
		), family AS ( -- and so are the latest of the family
			SELECT j.id FROM jobs m JOIN vehicles v ON v.id = m.vehicle_id JOIN vehicles o ON v.family <> '' AND o.family = v.family
			JOIN jobs j ON j.vehicle_id = o.id WHERE m.id = $1 AND j.id <> $1 ORDER BY j.id DESC LIMIT 2000
		), shared AS (
			SELECT job_id, array_agg(DISTINCT code ORDER BY code) AS codes FROM (
				SELECT job_id, code FROM recent
				UNION SELECT e.job_id, e.code FROM family f JOIN standing_evidence e ON e.job_id = f.id JOIN wanted w ON w.code = e.code) c
			GROUP BY job_id
		), best AS (
			SELECT j.id, j.vehicle_id, j.outcome, s.codes, v.make, v.model, v.model_year,
				v.family <> '' AND v.family = (SELECT family FROM vehicles WHERE id = (SELECT vehicle_id FROM jobs WHERE id = $1)) AS same_family
			FROM shared s JOIN jobs j ON j.id = s.job_id JOIN vehicles v ON v.id = j.vehicle_id
			WHERE j.closed_at IS NOT NULL
			ORDER BY same_family DESC, cardinality(s.codes) DESC, j.id DESC LIMIT $2
		)
		SELECT b.id AS job_id, b.vehicle_id, b.make, b.model, b.model_year, b.same_family, b.codes AS shared, b.outcome,
			`+causesOf("b.id")+` AS causes,
			EXISTS (SELECT FROM comebacks b2 WHERE b2.earlier_id = b.id AND b2.kind <> 'unrelated') AS came_back,
			coalesce((SELECT jsonb_agg(e.body ORDER BY e.seq) FROM standing_evidence e WHERE e.job_id = b.id), '[]') AS evidence
		FROM best b ORDER BY b.same_family DESC, cardinality(b.codes) DESC, b.id DESC`, jobID, limit)
}
