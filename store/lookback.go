package store

import (
	"context"
	"time"

	"crosscount/diag"
)

// Period is a span of closing times: From is in it, To is not.
type Period struct{ From, To time.Time }

// Totals counts the jobs closed in a period.
type Totals struct {
	Closed       int
	CameBack     int // with a comeback that was not unrelated
	Part         int // the verdict in force, or the override of it, was for a part
	NoPart       int
	Overridden   int
	Confirmed    int
	NotFound     int
	NothingWrong int
	Declined     int
	Unproved     int // a repair left without proof
}

// related picks the comebacks that count: all but those that turned out to be
// new trouble.
const related = `b.kind <> 'unrelated'`

// Totals counts the jobs closed in a period.
func (s *Store) Totals(ctx context.Context, p Period) (Totals, error) {
	return one[Totals](ctx, s.pool, `
		SELECT count(*) AS closed,
			count(*) FILTER (WHERE EXISTS (SELECT FROM comebacks b WHERE b.earlier_id = j.id AND `+related+`)) AS came_back,
			count(*) FILTER (WHERE coalesce(o.decision, v.decision) = 'part') AS part,
			count(*) FILTER (WHERE coalesce(o.decision, v.decision) = 'no_part') AS no_part,
			count(o.verdict_id) AS overridden,
			count(*) FILTER (WHERE outcome = 'confirmed') AS confirmed,
			count(*) FILTER (WHERE outcome = 'not_found') AS not_found,
			count(*) FILTER (WHERE outcome = 'nothing_wrong') AS nothing_wrong,
			count(*) FILTER (WHERE outcome = 'declined') AS declined,
			count(*) FILTER (WHERE repaired_at IS NOT NULL AND proved_at IS NULL) AS unproved
		FROM jobs j LEFT JOIN verdicts v ON v.id = j.verdict_id LEFT JOIN overrides o ON o.verdict_id = j.verdict_id
		WHERE j.closed_at >= $1 AND j.closed_at < $2`, p.From, p.To)
}

// CauseRate counts, for a cause, the jobs it was confirmed in and those of them
// that came back.
type CauseRate struct {
	Cause    string
	Closed   int
	CameBack int
}

// CauseRates counts jobs and comebacks by confirmed cause, the most frequent
// first. A job with two causes counts under both.
func (s *Store) CauseRates(ctx context.Context, p Period) ([]CauseRate, error) {
	return many[CauseRate](ctx, s.pool, `
		SELECT cause, count(DISTINCT j.id) AS closed, count(DISTINCT j.id) FILTER (WHERE EXISTS (
			SELECT FROM comebacks b WHERE b.earlier_id = j.id AND `+related+`)) AS came_back
		FROM jobs j JOIN confirmed_causes k ON k.job_id = j.id
		WHERE j.closed_at >= $1 AND j.closed_at < $2
		GROUP BY cause ORDER BY closed DESC, cause`, p.From, p.To)
}

// FittedRate counts the sensors fitted at a place and those whose job came back.
type FittedRate struct {
	Bank     int
	Position int
	Kind     diag.SensorKind
	Fitted   int
	CameBack int
	Failed   int // came back because the part failed
}

// FittedRates counts fittings and comebacks by place and kind.
func (s *Store) FittedRates(ctx context.Context, p Period) ([]FittedRate, error) {
	return many[FittedRate](ctx, s.pool, `
		SELECT bank, position, kind, count(*) AS fitted,
			count(*) FILTER (WHERE EXISTS (SELECT FROM comebacks b WHERE b.earlier_id = j.id AND `+related+`)) AS came_back,
			count(*) FILTER (WHERE EXISTS (SELECT FROM comebacks b WHERE b.earlier_id = j.id AND b.kind = 'part_failed')) AS failed
		FROM jobs j JOIN repairs r ON r.job_id = j.id AND r.action = 'fitted' AND r.undone_at IS NULL
		WHERE j.closed_at >= $1 AND j.closed_at < $2
		GROUP BY bank, position, kind ORDER BY bank, position, kind`, p.From, p.To)
}

// FinishedJob is a closed job with what became of it: a row for survival
// curves, priors and rates.
type FinishedJob struct {
	JobID        int64
	VehicleID    int64
	Family       string
	OpenedAt     time.Time
	ClosedAt     time.Time
	OdometerKm   *int
	TechnicianID *int64
	Outcome      string
	Causes       []diag.CauseRef // confirmed
	Decision     *string
	Override     *string
	FittedParts  []diag.Part
	Codes        []string // standing ones of ours
	CameBackAs   *int64   // the first comeback that was not unrelated
	CameBackAt   *time.Time
	CameBackKind *string
}

// FinishedJobs lists the jobs closed in a period, the oldest first.
func (s *Store) FinishedJobs(ctx context.Context, p Period) ([]FinishedJob, error) {
	return many[FinishedJob](ctx, s.pool, `
		SELECT j.id AS job_id, j.vehicle_id, v.family, j.opened_at, j.closed_at, j.odometer_km, j.technician_id, j.outcome,
			`+causesOf("j.id")+` AS causes, d.decision, o.decision AS override,
			coalesce((SELECT jsonb_agg(jsonb_build_object('bank', bank, 'position', position, 'kind', kind) ORDER BY id)
				FROM repairs r WHERE r.job_id = j.id AND r.action = 'fitted' AND r.undone_at IS NULL), '[]') AS fitted_parts,
			array(SELECT DISTINCT code FROM standing_evidence e
				WHERE e.job_id = j.id AND code IS NOT NULL AND source <> 'told' ORDER BY code) AS codes,
			b.job_id AS came_back_as, b.opened_at AS came_back_at, b.kind AS came_back_kind
		FROM jobs j JOIN vehicles v ON v.id = j.vehicle_id
		LEFT JOIN verdicts d ON d.id = j.verdict_id LEFT JOIN overrides o ON o.verdict_id = j.verdict_id
		LEFT JOIN LATERAL (SELECT b.job_id, b.kind, l.opened_at FROM comebacks b JOIN jobs l ON l.id = b.job_id
			WHERE b.earlier_id = j.id AND `+related+` ORDER BY l.opened_at LIMIT 1) b ON true
		WHERE j.closed_at >= $1 AND j.closed_at < $2 ORDER BY j.closed_at, j.id`, p.From, p.To)
}

// causesOf is the SQL for a job's confirmed causes as one JSON array.
func causesOf(job string) string {
	return `coalesce((SELECT jsonb_agg(jsonb_build_object('cause', cause, 'bank', bank, 'position', position)
		ORDER BY cause, bank, position) FROM confirmed_causes k WHERE k.job_id = ` + job + `), '[]')`
}

// CameBack is a comeback with both its jobs.
type CameBack struct {
	JobID           int64
	EarlierID       int64
	Kind            string
	Words           string
	VehicleID       int64
	Plate           string
	Make            string
	Model           string
	EarlierClosedAt *time.Time
	OpenedAt        time.Time
	ClosedAt        *time.Time
	EarlierKm       *int
	Km              *int
	EarlierOutcome  *string
	EarlierCauses   []diag.CauseRef
	EarlierDecision *string // of the verdict then in force
	EarlierOverride *string
	EarlierReason   *string // of the override
	Outcome         *string
	Causes          []diag.CauseRef // confirmed in the job that came back
}

// Comebacks lists the cars that came back in a period, the latest first.
func (s *Store) Comebacks(ctx context.Context, p Period) ([]CameBack, error) {
	return many[CameBack](ctx, s.pool, `
		SELECT b.job_id, b.earlier_id, b.kind, b.words, b.vehicle_id, v.plate, v.make, v.model,
			e.closed_at AS earlier_closed_at, j.opened_at, j.closed_at, e.odometer_km AS earlier_km, j.odometer_km AS km,
			e.outcome AS earlier_outcome, `+causesOf("e.id")+` AS earlier_causes, d.decision AS earlier_decision,
			o.decision AS earlier_override, o.reason AS earlier_reason, j.outcome, `+causesOf("j.id")+` AS causes
		FROM comebacks b JOIN jobs j ON j.id = b.job_id JOIN jobs e ON e.id = b.earlier_id JOIN vehicles v ON v.id = b.vehicle_id
		LEFT JOIN verdicts d ON d.id = e.verdict_id LEFT JOIN overrides o ON o.verdict_id = e.verdict_id
		WHERE j.opened_at >= $1 AND j.opened_at < $2 ORDER BY j.opened_at DESC, j.id DESC`, p.From, p.To)
}

// Forecast is the probability that a verdict in force gave to a cause, and
// whether the cause was confirmed. A confirmed cause that the verdict did not
// list has probability 0.
type Forecast struct {
	JobID     int64
	Engine    string
	Cause     string
	Bank      int
	Position  int
	P         float64
	Confirmed bool
}

// Forecasts lists the forecasts of the jobs closed in a period as confirmed or
// as nothing wrong.
func (s *Store) Forecasts(ctx context.Context, p Period) ([]Forecast, error) {
	return many[Forecast](ctx, s.pool, `
		WITH closed AS (
			SELECT j.id, v.engine, v.causes FROM jobs j JOIN verdicts v ON v.id = j.verdict_id
			WHERE j.closed_at >= $1 AND j.closed_at < $2 AND j.outcome IN ('confirmed', 'nothing_wrong')
		), listed AS (
			SELECT c.id, c.engine, f.cause, coalesce(f.bank, 0) AS bank, coalesce(f.position, 0) AS position, f.p
			FROM closed c, jsonb_to_recordset(c.causes) AS f (cause text, bank integer, position integer, p double precision)
		), confirmed AS (
			SELECT c.id, c.engine, k.cause, k.bank, k.position FROM closed c JOIN confirmed_causes k ON k.job_id = c.id
		)
		SELECT coalesce(l.id, k.id) AS job_id, coalesce(l.engine, k.engine) AS engine, coalesce(l.cause, k.cause) AS cause,
			coalesce(l.bank, k.bank) AS bank, coalesce(l.position, k.position) AS position, coalesce(l.p, 0) AS p,
			k.id IS NOT NULL AS confirmed
		FROM listed l FULL JOIN confirmed k
			ON k.id = l.id AND k.cause = l.cause AND k.bank = l.bank AND k.position = l.position
		ORDER BY 1, 6 DESC, 3, 4, 5`, p.From, p.To)
}

// Overridden is an override with what it was decided against and what became
// of the job.
type Overridden struct {
	VerdictID  int64
	JobID      int64
	At         time.Time
	ByName     string
	Reason     string
	Verdict    diag.Verdict
	Costs      diag.CostView // as the engine saw them
	Decision   string
	Parts      []diag.Part
	ClosedAt   *time.Time
	Outcome    *string
	Causes     []diag.CauseRef // confirmed
	CameBackAs *int64          // the first comeback that was not unrelated
}

// Overrides lists the overrides made in a period, the latest first.
func (s *Store) Overrides(ctx context.Context, p Period) ([]Overridden, error) {
	return many[Overridden](ctx, s.pool, `
		SELECT o.verdict_id, o.job_id, o.at, p.name AS by_name, o.reason, v.verdict, v.costs, o.decision, o.parts,
			j.closed_at, j.outcome, `+causesOf("j.id")+` AS causes,
			(SELECT min(b.job_id) FROM comebacks b WHERE b.earlier_id = j.id AND `+related+`) AS came_back_as
		FROM overrides o JOIN verdicts v ON v.id = o.verdict_id JOIN people p ON p.id = o.by JOIN jobs j ON j.id = o.job_id
		WHERE o.at >= $1 AND o.at < $2 ORDER BY o.at DESC, o.verdict_id DESC`, p.From, p.To)
}
