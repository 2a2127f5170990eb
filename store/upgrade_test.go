package store_test

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"testing"

	"github.com/jackc/pgx/v5"

	"crosscount/migrations"
	"crosscount/store/storetest"
)

// rowsOf writes at least one row into every table that a schema version brings.
var rowsOf = map[uint]string{
	1: `INSERT INTO people (name, login, role, created_at) VALUES ('Ash', 'ash', 'owner', now());
		INSERT INTO shop VALUES (1, 'Harbour Lane', '', '', 12000, 'USD', 'en', 'UTC', 'km', 'c', 'kpa', 'a4', 365, '', now(), 1);
		INSERT INTO sessions VALUES ('a', sha256('s'), 1, now(), now(), now() + '1h', '', '');
		INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) VALUES ('first_owner', sha256('s'), now(), now() + '1h');
		INSERT INTO login_attempts VALUES ('ash', '192.0.2.1', now(), true);`,
	2: `INSERT INTO customers (name, phone, created_at, created_by) VALUES ('Kim', '+1 555 0101', now(), 1);
		INSERT INTO vehicles (customer_id, plate, make, model, cylinders, arrangement, displacement_l, fuel, air_metering, created_at, created_by)
		VALUES (1, 'HL 1', 'Norvik', 'Taiga', 4, 'inline', 2.0, 'petrol', 'maf', now(), 1);
		INSERT INTO vehicle_sensors (vehicle_id, bank, position, kind, wires) VALUES (1, 1, 1, 'zirconia', 4);`,
	3: `INSERT INTO jobs (intake_id, vehicle_id, customer_id, concern, odometer, odometer_unit, opened_at, opened_by)
		VALUES (gen_random_uuid(), 1, 1, 'Light is on', 100000, 'mi', now(), 1), (gen_random_uuid(), 1, 1, 'Light again', 101000, 'mi', now() + '2h', 1);
		INSERT INTO job_log (job_id, at, by, what, words) VALUES (1001, now(), 1, 'opened', '');
		INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at) VALUES
			('00000000-0000-4000-8000-000000000001', 1001, '{"kind":"code","code":"P0171"}', 'told', 1, now(), now()),
			('00000000-0000-4000-8000-000000000002', 1001, '{"kind":"result","test":"road_proof","outcome":"passed"}', 'observed', 1, now(), now());
		INSERT INTO evidence (id, job_id, withdraws, reason, source, entered_by, client_at, received_at)
		VALUES (gen_random_uuid(), 1001, '00000000-0000-4000-8000-000000000001', 'wrong', 'observed', 1, now(), now());`,
	4: `INSERT INTO verdicts (job_id, at, accepted_by, verdict, causes, costs, engine, fingerprint, case_body)
		VALUES (1001, now(), 1, '{"decision":"part","parts":[{"bank":1,"position":1,"kind":"zirconia"}],"first":null}', '[]', '{}', 'e', 'f', '{}');
		INSERT INTO overrides VALUES (1, 1001, now(), 1, 'part', '[{"bank":1,"position":1,"kind":"zirconia"}]', 'x');
		UPDATE jobs SET verdict_id = 1, diagnosed_at = now(), approved_at = now() WHERE id = 1001;
		INSERT INTO repairs (job_id, at, by, action, cause, bank, position, kind) VALUES (1001, now(), 1, 'fitted', '', 1, 1, 'zirconia');
		INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, repair_id, fitted_at) VALUES (1, 1, 1, 'zirconia', 1, now());
		UPDATE jobs SET repaired_at = now() WHERE id = 1001;
		INSERT INTO proofs (job_id, evidence_id, at, by, passed, statement) VALUES (1001, '00000000-0000-4000-8000-000000000002', now(), 1, true, 'x');
		UPDATE jobs SET proved_at = now(), closed_at = now(), closed_by = 1, outcome = 'confirmed' WHERE id = 1001;
		INSERT INTO confirmed_causes VALUES (1001, 'sensor_aged', 1, 1);
		INSERT INTO comebacks VALUES (1002, 1001, 1, 'not_known_yet', '', now(), 1);`,
	10: `INSERT INTO files VALUES ('00000000-0000-4000-8000-000000000010', 1002, 'a.csv', 'text/csv', 1, sha256('x'), now(), 1);
		INSERT INTO file_chunks VALUES ('00000000-0000-4000-8000-000000000010', 0, 'x');
		INSERT INTO mappings VALUES ('usual', '{}', now(), 1);
		INSERT INTO captures (id, job_id, file_id, kind, mapping, measurements, program, picture, words, at, by) VALUES
			('00000000-0000-4000-8000-000000000011', 1002, '00000000-0000-4000-8000-000000000010', 'signal', '{}', '{}', 'm', '', '', now(), 1);
		INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at) VALUES
			('00000000-0000-4000-8000-000000000012', 1002, '{"kind":"signal","bank":1,"position":1}', 'measured', 1, now(), now());
		INSERT INTO capture_entries (capture_id, job_id, evidence_id) VALUES
			('00000000-0000-4000-8000-000000000011', 1002, '00000000-0000-4000-8000-000000000012');`,
	20: `INSERT INTO photos (id, job_id, subject, moment, bank, position, words, media_type, width, height, sha256, data, thumb, client_at, at, by)
		VALUES (gen_random_uuid(), 1002, 'tip', '', 1, 1, '', 'image/png', 1, 1, sha256('x'), 'x', 'x', now(), now(), 1);
		INSERT INTO test_times VALUES (gen_random_uuid(), 1002, 'tip_look', 1, 1, 20, now(), now(), 1);
		INSERT INTO set_asides (id, job_id, test, bank, position, why, client_at, at, by)
		VALUES (gen_random_uuid(), 1002, 'intake_smoke', 0, 0, 'no smoke machine', now(), now(), 1);
		INSERT INTO maker_data (family, bank, position, torque_nm, source, changed_at, changed_by) VALUES ('Taiga', 1, 1, 45, 'handbook', now(), 1);`,
	30: `INSERT INTO accounts VALUES (1002, 'USD');
		INSERT INTO tax_rates (name, ppm) VALUES ('Sales tax', 72500);
		INSERT INTO authorisations (id, job_id, currency, scope, limit_minor, who, how, said_at, words, at, by)
		VALUES (gen_random_uuid(), 1002, 'USD', 'diagnosis', 20000, 'Kim', 'telephone', now(), '', now(), 1);
		INSERT INTO documents (job_id, currency, kind, number, net_minor, tax_minor, body, at, by) VALUES (1002, 'USD', 'invoice', 1, 12000, 870, '{}', now(), 1);
		INSERT INTO lines (job_id, currency, scope, kind, words, quantity, unit_minor, tax_ppm, status, invoice_id, at, by)
		VALUES (1002, 'USD', 'diagnosis', 'labour', 'Smoke test', 1, 12000, 72500, 'done', 1, now(), 1);
		INSERT INTO payments VALUES (gen_random_uuid(), 1, 1002, 'USD', 12870, 'cash', '', now(), 1);
		INSERT INTO customer_links (job_id, token_hash, created_at, created_by, expires_at) VALUES (1002, sha256('s'), now(), 1, now() + '1h');
		INSERT INTO customer_link_views VALUES (1, now(), '192.0.2.1', '');
		INSERT INTO converter_papers (job_id, bank, need, part_number, tag, customer_name, removed_on, at, by)
		VALUES (1002, 1, 'melted', 'KAT-1', 'T-1', 'Kim', '2026-01-01', now(), 1);`,
	31: ``, // the search's rows follow from the others
	32: ``,
}

func TestUpgrade(t *testing.T) {
	names, err := fs.Glob(migrations.Files, "*.up.sql")
	ok(t, err)
	var versions []uint
	for _, n := range names {
		v, err := strconv.ParseUint(n[:4], 10, 32)
		ok(t, err)
		versions = append(versions, uint(v))
	}
	ctx := t.Context()
	dsn := storetest.Empty(t)
	conn, err := pgx.Connect(ctx, dsn)
	ok(t, err)
	defer conn.Close(context.WithoutCancel(ctx))
	kept := func(t *testing.T, before map[string]int) {
		t.Helper()
		after := counts(t, conn)
		for table, n := range before {
			if got, there := after[table]; there && got != n {
				t.Errorf("%s has %d rows, not %d", table, got, n)
			}
		}
	}
	to := func(t *testing.T, v uint) {
		t.Helper()
		before := counts(t, conn)
		_, _, err := migrations.To(ctx, dsn, v)
		ok(t, err)
		kept(t, before)
	}
	// The program goes from any version to the newest one step at a time, so each
	// step with rows in every table covers the ways from all versions before it.
	for _, v := range versions {
		t.Run(fmt.Sprintf("keeps every row on the way up to version %d", v), func(t *testing.T) {
			to(t, v)
			_, err := conn.Exec(ctx, rowsOf[v])
			ok(t, err)
			for table, n := range counts(t, conn) {
				if n == 0 {
					t.Errorf("no row in %s: add one to rowsOf", table)
				}
			}
		})
	}
	for i, v := range slices.Backward(versions[:len(versions)-1]) {
		t.Run(fmt.Sprintf("keeps the older rows on the way down to version %d and up again", v), func(t *testing.T) {
			to(t, v)
			to(t, versions[i+1])
			to(t, v)
		})
	}
	t.Run("leaves nothing behind on the way down to nothing", func(t *testing.T) {
		dsn := storetest.Empty(t)
		for range 2 {
			_, _, err := migrations.Up(ctx, dsn)
			ok(t, err)
			_, _, err = migrations.To(ctx, dsn, 0)
			ok(t, err)
		}
		conn, err := pgx.Connect(ctx, dsn)
		ok(t, err)
		defer conn.Close(context.WithoutCancel(ctx))
		rows, _ := conn.Query(ctx, `
			SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relname NOT LIKE 'schema_migrations%'
			UNION ALL SELECT p.proname::text FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace
				AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')
			UNION ALL SELECT typname::text FROM pg_type WHERE typnamespace = 'public'::regnamespace AND typtype IN ('e', 'd')`)
		left, err := pgx.CollectRows(rows, pgx.RowTo[string])
		ok(t, err)
		if left = slices.DeleteFunc(left, func(n string) bool { return n == "" }); len(left) > 0 {
			t.Errorf("left: %v", left)
		}
	})
}

// counts returns the number of rows of each table.
func counts(t *testing.T, conn *pgx.Conn) map[string]int {
	t.Helper()
	rows, _ := conn.Query(t.Context(), `SELECT relname::text, (xpath('/row/n/text()',
		query_to_xml(format('SELECT count(*) AS n FROM %I', relname), false, true, '')))[1]::text::int AS n
		FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' AND relname <> 'schema_migrations'`)
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[struct {
		Table string
		N     int
	}])
	ok(t, err)
	n := map[string]int{}
	for _, row := range list {
		n[row.Table] = row.N
	}
	return n
}
