package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
)

// OpenJob is an unfinished job with the facts that tell whose move it is.
type OpenJob struct {
	ID             int64
	VehicleID      int64
	Plate          string
	Make           string
	Model          string
	ModelYear      int
	CustomerName   string
	CustomerPhone  string
	Concern        string
	TechnicianID   *int64
	TechnicianName *string
	OpenedAt       time.Time
	DiagnosedAt    *time.Time
	ApprovedAt     *time.Time
	RepairedAt     *time.Time
	ProvedAt       *time.Time
	Decision       *string // of the verdict in force: part, no_part, open
	Override       *string // what a person decided instead: part, no_part
	Firm           *float64
	Parts          []diag.Part     // to fit, by verdict or override
	Mend           []diag.CauseRef // to mend, by the verdict
	Sensors        int             // locations known of the car
	Told           int             // standing entries told by others
	Own            int             // standing entries of ours
	OwnSince       int             // of these and withdrawals, how many since the verdict in force
	Codes          []string        // standing codes, ours and told
	LastEntryAt    *time.Time
	Mended         int   // standing repairs
	Fitted         int   // standing fittings
	ProofPassed    *bool // of the latest proof
	ComebackOf     *int64
}

// OpenJobs lists the unfinished jobs, the oldest first.
func (s *Store) OpenJobs(ctx context.Context) ([]OpenJob, error) {
	return many[OpenJob](ctx, s.pool, `
		SELECT j.id, j.vehicle_id, v.plate, v.make, v.model, v.model_year, c.name AS customer_name, c.phone AS customer_phone,
			j.concern, j.technician_id, t.name AS technician_name, j.opened_at, j.diagnosed_at, j.approved_at, j.repaired_at, j.proved_at,
			d.decision, o.decision AS override, (d.verdict ->> 'firm')::double precision AS firm,
			coalesce(o.parts, nullif(d.verdict -> 'parts', 'null'), '[]') AS parts,
			coalesce(nullif(d.verdict -> 'mend', 'null'), '[]') AS mend,
			(SELECT count(*) FROM vehicle_sensors s WHERE s.vehicle_id = j.vehicle_id) AS sensors,
			e.told, e.own, e.codes, l.own_since, l.last_entry_at, r.mended, r.fitted,
			(SELECT passed FROM proofs f WHERE f.job_id = j.id ORDER BY f.id DESC LIMIT 1) AS proof_passed,
			b.earlier_id AS comeback_of
		FROM jobs j
		JOIN vehicles v ON v.id = j.vehicle_id
		JOIN customers c ON c.id = j.customer_id
		LEFT JOIN people t ON t.id = j.technician_id
		LEFT JOIN verdicts d ON d.id = j.verdict_id
		LEFT JOIN overrides o ON o.verdict_id = j.verdict_id
		LEFT JOIN comebacks b ON b.job_id = j.id
		CROSS JOIN LATERAL (
			SELECT count(*) FILTER (WHERE source = 'told') AS told, count(*) FILTER (WHERE source <> 'told') AS own,
				coalesce(array_agg(DISTINCT code) FILTER (WHERE code IS NOT NULL), '{}') AS codes
			FROM standing_evidence e WHERE e.job_id = j.id AND e.kind <> 'car') e -- how the car stands is no evidence
		CROSS JOIN LATERAL (
			SELECT count(*) FILTER (WHERE received_at > d.at AND kind IS DISTINCT FROM 'car') AS own_since, max(received_at) AS last_entry_at
			FROM evidence e WHERE e.job_id = j.id) l
		CROSS JOIN LATERAL (
			SELECT count(*) FILTER (WHERE action = 'mended') AS mended, count(*) FILTER (WHERE action = 'fitted') AS fitted
			FROM repairs r WHERE r.job_id = j.id AND r.undone_at IS NULL) r
		WHERE j.closed_at IS NULL AND j.cancelled_at IS NULL
		ORDER BY j.opened_at, j.id`)
}

// JobSummary is a job in one line of a list.
type JobSummary struct {
	ID           int64
	OpenedAt     time.Time
	ClosedAt     *time.Time
	CancelledAt  *time.Time
	Concern      string
	OdometerKm   *int
	Outcome      *string
	Causes       []diag.CauseRef // confirmed
	Decision     *string         // of the verdict in force
	Override     *string
	FittedParts  []diag.Part
	Codes        []string
	ComebackOf   *int64
	ComebackKind *string
	CameBackAs   []int64
}

var jobSummaries = `
	SELECT j.id, j.opened_at, j.closed_at, j.cancelled_at, j.concern, j.odometer_km, j.outcome,
		` + causesOf("j.id") + ` AS causes,
		(SELECT decision FROM verdicts d WHERE d.id = j.verdict_id) AS decision,
		(SELECT decision FROM overrides o WHERE o.verdict_id = j.verdict_id) AS override,
		coalesce((SELECT jsonb_agg(jsonb_build_object('bank', bank, 'position', position, 'kind', kind) ORDER BY id)
			FROM repairs r WHERE r.job_id = j.id AND r.action = 'fitted' AND r.undone_at IS NULL), '[]') AS fitted_parts,
		array(SELECT DISTINCT code FROM standing_evidence e WHERE e.job_id = j.id AND code IS NOT NULL ORDER BY code) AS codes,
		b.earlier_id AS comeback_of, b.kind AS comeback_kind,
		array(SELECT job_id FROM comebacks a WHERE a.earlier_id = j.id ORDER BY job_id) AS came_back_as
	FROM jobs j LEFT JOIN comebacks b ON b.job_id = j.id `

// JobsOf lists the jobs of a car, the latest first.
func (s *Store) JobsOf(ctx context.Context, vehicleID int64) ([]JobSummary, error) {
	return many[JobSummary](ctx, s.pool, jobSummaries+`WHERE j.vehicle_id = $1 ORDER BY j.opened_at DESC, j.id DESC`, vehicleID)
}

// ClosedJobs lists closed jobs, the latest first: a page of the archive that
// starts after the job closed at that time with that number.
func (s *Store) ClosedJobs(ctx context.Context, before time.Time, beforeID int64, limit int) ([]JobSummary, error) {
	return many[JobSummary](ctx, s.pool, jobSummaries+`WHERE j.closed_at IS NOT NULL AND (j.closed_at, j.id) < ($1, $2)
		ORDER BY j.closed_at DESC, j.id DESC LIMIT $3`, before, beforeID, limit)
}

// JobFile is all of one job.
type JobFile struct {
	Job            Job
	OpenedByName   string
	TechnicianName *string
	Customer       Customer
	Vehicle        Vehicle
	LastKm         int // the car's last odometer reading; 0 is unknown
	Sensors        []Sensor
	Fittings       []Fitting
	Entries        []Entry   // in order of arrival, withdrawn ones too
	Verdicts       []Verdict // the oldest first
	Repairs        []Repair
	Proofs         []Proof
	Causes         []diag.CauseRef // confirmed
	Comeback       *Comeback       // the earlier job it came back from
	CameBackAs     []Comeback      // later jobs that came back from it
	Captures       []Capture       // in the order they came, replaced ones too
	Photos         []Photo         // not the removed ones
	SetAsides      []SetAside      // tests that cannot be done here
	MakerData      []MakerData
	Minutes        float64 // noted as spent on tests
	Log            []LogLine
}

// JobFile returns all of one job as it stood at one moment.
func (s *Store) JobFile(ctx context.Context, jobID int64) (f JobFile, err error) {
	err = s.read(ctx, func(tx pgx.Tx) error {
		var b pgx.Batch
		var names []struct {
			OpenedByName   string
			TechnicianName *string
		}
		var back []Comeback
		queueOne(&b, &f.Job, `SELECT `+jobColumns+` FROM jobs j WHERE id = $1`, jobID)
		queueMany(&b, &names, `SELECT o.name AS opened_by_name, t.name AS technician_name
			FROM jobs j JOIN people o ON o.id = j.opened_by LEFT JOIN people t ON t.id = j.technician_id WHERE j.id = $1`, jobID)
		queueOne(&b, &f.Customer, `SELECT `+customerColumns+` FROM jobs j JOIN customers c ON c.id = j.customer_id WHERE j.id = $1`, jobID)
		queueOne(&b, &f.Vehicle, `SELECT `+vehicleColumns+` FROM jobs j JOIN vehicles v ON v.id = j.vehicle_id WHERE j.id = $1`, jobID)
		queueValue(&b, &f.LastKm, `SELECT `+lastKm+` FROM jobs j JOIN vehicles v ON v.id = j.vehicle_id WHERE j.id = $1`, jobID)
		queueMany(&b, &f.Sensors, `SELECT `+sensorColumns+` FROM jobs j JOIN vehicle_sensors s USING (vehicle_id)
			WHERE j.id = $1 ORDER BY bank, position`, jobID)
		queueMany(&b, &f.Fittings, `SELECT `+fittingColumns+` FROM jobs j JOIN sensor_fittings f USING (vehicle_id)
			WHERE j.id = $1 ORDER BY f.bank, f.position, f.fitted_at NULLS FIRST, f.id`, jobID)
		queueMany(&b, &f.Entries, entriesSQL+`AND e.job_id = $1 ORDER BY e.seq`, jobID)
		queueMany(&b, &f.Verdicts, verdictsSQL+`WHERE v.job_id = $1 ORDER BY v.id`, jobID)
		queueMany(&b, &f.Repairs, repairsSQL+`WHERE r.job_id = $1 ORDER BY r.id`, jobID)
		queueMany(&b, &f.Proofs, proofsSQL+`WHERE f.job_id = $1 ORDER BY f.id`, jobID)
		queueMany(&b, &f.Causes, `SELECT cause, bank, position FROM confirmed_causes WHERE job_id = $1
			ORDER BY cause, bank, position`, jobID)
		queueMany(&b, &back, `SELECT job_id, earlier_id, kind, words, at, by FROM comebacks WHERE job_id = $1`, jobID)
		queueMany(&b, &f.CameBackAs, `SELECT job_id, earlier_id, kind, words, at, by FROM comebacks
			WHERE earlier_id = $1 ORDER BY job_id`, jobID)
		queueMany(&b, &f.Captures, capturesSQL+`WHERE c.job_id = $1 ORDER BY c.at, c.id`, jobID)
		queueMany(&b, &f.Photos, photosSQL+`WHERE f.job_id = $1 AND f.removed_at IS NULL ORDER BY f.at, f.id`, jobID)
		queueMany(&b, &f.SetAsides, setAsidesSQL+`WHERE s.job_id = $1 AND s.lifted_at IS NULL ORDER BY s.at, s.id`, jobID)
		queueMany(&b, &f.MakerData, makerDataSQL+`JOIN jobs j ON j.id = $1 JOIN vehicles v ON v.id = j.vehicle_id
			WHERE m.vehicle_id = v.id OR (m.family <> '' AND m.family = v.family) ORDER BY m.bank, m.position, m.id`, jobID)
		queueValue(&b, &f.Minutes, `SELECT coalesce(sum(minutes), 0) FROM test_times WHERE job_id = $1`, jobID)
		queueMany(&b, &f.Log, `SELECT l.id, l.at, l.by, p.name AS by_name, l.what, l.words
			FROM job_log l JOIN people p ON p.id = l.by WHERE l.job_id = $1 ORDER BY l.id`, jobID)
		if err := tx.SendBatch(ctx, &b).Close(); err != nil {
			return err
		}
		f.OpenedByName, f.TechnicianName = names[0].OpenedByName, names[0].TechnicianName
		if len(back) > 0 {
			f.Comeback = &back[0]
		}
		return nil
	})
	return f, err
}

// Standing returns the entries that were not withdrawn.
func (f JobFile) Standing() []Entry {
	var standing []Entry
	for _, e := range f.Entries {
		if e.Stands() {
			standing = append(standing, e)
		}
	}
	return standing
}

// Verdict returns the verdict in force, if there is one.
func (f JobFile) Verdict() (Verdict, bool) {
	for _, v := range f.Verdicts {
		if f.Job.VerdictID != nil && v.ID == *f.Job.VerdictID {
			return v, true
		}
	}
	return Verdict{}, false
}

// Case returns the case that the engine is asked about: the car and the bodies
// of the entries given.
func (f JobFile) Case(entries []Entry, costs diag.Costs) diag.Case {
	km := f.LastKm
	if f.Job.OdometerKm != nil {
		km = *f.Job.OdometerKm
	}
	c := diag.Case{Version: diag.CaseVersion, Vehicle: f.Vehicle.Diag(f.Sensors, km), Costs: costs}
	for _, e := range entries {
		c.Evidence = append(c.Evidence, e.Body)
	}
	return c
}
