package factory

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Bulk fills an empty shop with that many jobs over ten years, each with so
// many entries, for benchmarks. All but the last forty are closed; one in
// twelve came back. The same numbers give the same shop.
func Bulk(ctx context.Context, db *pgxpool.Pool, jobs, entries int) error {
	return pgx.BeginFunc(ctx, db, func(tx pgx.Tx) error {
		// Where the account may, the rules are left out: the rows keep them anyway
		// and a million of them are written ten times as fast.
		var super bool
		if err := tx.QueryRow(ctx, `SELECT rolsuper FROM pg_roles WHERE rolname = current_user`).Scan(&super); err != nil {
			return err
		}
		if super {
			if _, err := tx.Exec(ctx, `SET LOCAL session_replication_role = replica`); err != nil {
				return err
			}
		}
		sizes := strings.NewReplacer("{jobs}", strconv.Itoa(jobs), "{entries}", strconv.Itoa(entries))
		for i, sql := range bulk {
			if _, err := tx.Exec(ctx, sizes.Replace(sql)); err != nil {
				return fmt.Errorf("bulk step %d: %w", i, err)
			}
		}
		return nil
	})
}

// pick is the SQL for a pseudo-random choice that depends on i and salt only.
func pick(list, salt string) string {
	return fmt.Sprintf(`(%s)[1 + (hashint8(i::bigint * 7919 + %s) & 2147483647) %% array_length(%s, 1)]`, list, salt, list)
}

const (
	firstNames = `array['Ada','Bo','Cyr','Dag','Edda','Finn','Gesa','Hal','Ines','Jory','Kaya','Lev','Mira','Nils','Oona','Pia','Quin','Runa','Sol','Tove','Ulf','Vera','Wim','Yara','Zeno']`
	lastNames  = `array['Alder','Birch','Castell','Dorn','Elm','Falk','Gorse','Heath','Ivar','Juno','Kestrel','Linden','Marsh','Nettle','Oriel','Pell','Quarry','Rowan','Sedge','Thorn','Umber','Vetch','Willow','Yarrow','Zeller','Łukas','Müller','Ñandu','Østby','Çelik']`
	syllables  = `array['bar','cal','den','fer','gol','han','is','jor','kel','lum','mar','nor','pet','quil','ros','stan','tur','vel','wes','zan']`
	makes      = `array['Norvik','Calder','Aurelle','Tamsin','Brontor','Vireo','Kesto']`
	models     = `array['Taiga','Fjell','Lumen','Corvid','Atlas','Piper','Sable','Merle','Onda','Rill']`
	concerns   = `array['Check light is on','Uses more fuel than before','Stalls at the traffic light','Smell of petrol at idle','Failed the emissions test','Loses power uphill','Light came back after another shop cleared it','Rattles under the floor when cold','Rough idle in the morning','Whistles when accelerating']`
	details    = `array['since last week','after a long drive','only when warm','mostly in rain','since the new exhaust','after filling up','on the motorway','when the boot is full','since the head was skimmed','now and then']`
	codes      = `array['P0171','P0172','P0174','P0175','P0131','P0133','P0135','P0137','P0141','P0151','P0153','P0155','P0161','P0420','P0430','P2195','P2196','P2270']`
	causes     = `array['intake_leak_bank','exhaust_leak_upstream','maf_reads_low','sensor_aged','fuel_delivery_low','pcv_fault','sensor_silica','heater_element_open','purge_stuck_open','catalyst_worn']`
)

// Each step sees {jobs} and {entries}, the entries of each job.
var bulk = []string{
	`INSERT INTO people (name, login, role, created_at)
		SELECT 'Robin ' || i, 'bulk' || i, (array['owner','writer','technician'])[1 + (i - 1) % 3], '2015-01-01' FROM generate_series(1, 6) i`,
	`INSERT INTO customers (name, phone, created_at, created_by)
		SELECT ` + pick(firstNames, "1") + ` || ' ' || CASE WHEN i % 3 = 0
				THEN initcap(` + pick(syllables, "9") + ` || ` + pick(syllables, "10") + ` || ` + pick(syllables, "11") + `)
				ELSE ` + pick(lastNames, "2") + ` END, '+1 555 ' || lpad((i % 10000000)::text, 7, '0'),
			'2015-01-01', (SELECT min(id) FROM people)
		FROM generate_series(1, greatest(1, {jobs} / 3)) i`,
	`INSERT INTO vehicles (customer_id, plate, vin, make, model, model_year, family, cylinders, arrangement, displacement_l, fuel, air_metering,
			created_at, created_by)
		SELECT c.id, chr(65 + i % 26) || chr(65 + (i / 26) % 26) || chr(65 + (i / 676) % 26) || ' ' || lpad((i % 9973)::text, 4, '0'),
			'NVK' || upper(lpad(to_hex(hashint8(i) & 268435455), 7, '0')) || lpad(i::text, 7, '0'),
			` + pick(makes, "3") + `, ` + pick(models, "4") + `, 1996 + i % 25, ` + pick(models, "4") + ` || ' ' || (1 + i % 3) || '.0',
			4 + 2 * (i % 2), (array['inline','v'])[1 + i % 2], 1 + i % 3, 'petrol', 'maf', '2015-01-01', c.created_by
		FROM (SELECT id, created_by, row_number() OVER (ORDER BY id)::integer AS i FROM customers) c`,
	`INSERT INTO vehicle_sensors (vehicle_id, bank, position, kind, wires)
		SELECT v.id, b, p, 'zirconia', 4 FROM vehicles v, generate_series(1, CASE arrangement WHEN 'v' THEN 2 ELSE 1 END) b, generate_series(1, 2) p`,
	`INSERT INTO jobs (intake_id, vehicle_id, customer_id, concern, odometer, odometer_unit, opened_at, opened_by)
		SELECT md5('job' || i)::uuid, v.id, v.customer_id, ` + pick(concerns, "5") + ` || ' ' || ` + pick(details, "6") + `,
			60000 + i % 200000, 'km', '2015-01-01'::timestamptz + i * (interval '3650 days' / {jobs}), v.created_by
		FROM generate_series(1, {jobs}) i JOIN (SELECT *, row_number() OVER (ORDER BY id) AS n FROM vehicles) v
			ON v.n = 1 + i % greatest(1, {jobs} / 3) ORDER BY i`,
	`INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at)
		SELECT md5('entry' || j.id || '/' || k)::uuid, j.id, CASE
			WHEN k = 1 THEN jsonb_build_object('kind', 'code', 'code', ` + pick(codes, "7") + `, 'status', 'stored')
			WHEN k % 4 = 0 THEN jsonb_build_object('kind', 'trim', 'bank', 1, 'state', 'idle', 'short_pct', i % 25, 'long_pct', i % 19)
			WHEN k % 4 = 1 THEN jsonb_build_object('kind', 'signal', 'bank', 1, 'position', 1, 'state', 'fast_idle', 'min_v', 0.1, 'max_v', 0.85, 'crossings_hz', 1.4)
			WHEN k % 4 = 2 THEN jsonb_build_object('kind', 'result', 'test', 'intake_smoke', 'outcome', 'bank', 'bank', 1)
			ELSE jsonb_build_object('kind', 'tip', 'bank', 1, 'position', 1, 'look', 'white') END,
			'observed', j.opened_by, j.opened_at + k * interval '1 minute', j.opened_at + k * interval '1 minute'
		FROM (SELECT *, (id - 1000)::integer AS i FROM jobs) j, generate_series(1, {entries}) k ORDER BY j.id, k`,
	`INSERT INTO verdicts (job_id, at, accepted_by, verdict, causes, costs, engine, fingerprint, case_body)
		SELECT id, opened_at + interval '2 hours', opened_by,
			'{"decision":"no_part","mend":[{"cause":"intake_leak_bank","bank":1}],"parts":[],"first":[],"firm":0.9,"why":"The smoke came out at the gasket."}',
			'[{"cause":"intake_leak_bank","bank":1,"p":0.9},{"cause":"sensor_aged","bank":1,"position":1,"p":0.1}]',
			'{"expected":212.4,"code_taken_at_its_word":468,"cause_known":140}', 'bulk', md5(id::text), '{"case":1}'
		FROM jobs ORDER BY id LIMIT greatest(0, {jobs} - 40)`,
	`UPDATE jobs SET verdict_id = v.id, diagnosed_at = v.at, approved_at = v.at + interval '1 hour' FROM verdicts v WHERE v.job_id = jobs.id`,
	`INSERT INTO repairs (job_id, at, by, action, cause, bank, position)
		SELECT id, approved_at + interval '1 hour', opened_by, 'mended', 'intake_leak_bank', 1, 0 FROM jobs WHERE approved_at IS NOT NULL ORDER BY id`,
	`UPDATE jobs SET repaired_at = approved_at + interval '1 hour', closed_at = approved_at + interval '2 hours', closed_by = opened_by,
			outcome = 'confirmed', unproved_why = 'bulk' WHERE approved_at IS NOT NULL`,
	`INSERT INTO confirmed_causes SELECT id, ` + pick(causes, "8") + `, 1, 0 FROM (SELECT id, (id - 1000)::integer AS i FROM jobs WHERE closed_at IS NOT NULL) j`,
	`INSERT INTO comebacks (job_id, earlier_id, vehicle_id, kind, words, at, by)
		SELECT id, earlier, vehicle_id, 'cause_missed', '', opened_at, opened_by
		FROM (SELECT id, vehicle_id, opened_at, opened_by, lag(id) OVER w AS earlier, lag(closed_at) OVER w AS earlier_closed
			FROM jobs WINDOW w AS (PARTITION BY vehicle_id ORDER BY opened_at, id)) j
		WHERE id % 12 = 0 AND earlier_closed <= opened_at`,
	// The search's triggers were left out above if the account may; then its rows are written here.
	`INSERT INTO search_documents SELECT id, array_to_tsvector(search_words_of_job(id)) FROM jobs ON CONFLICT (job_id) DO UPDATE SET doc = excluded.doc`,
	`INSERT INTO search_vocabulary SELECT DISTINCT w FROM search_documents, unnest(tsvector_to_array(doc)) w ON CONFLICT DO NOTHING`,
	`ANALYZE`,
}
