package store_test

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/migrations"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

// provocations break each named constraint once. Words in braces stand for the
// ids of the fixture.
var provocations = map[string]string{
	"people_name_present":            `UPDATE people SET name = ' '`,
	"people_login_once":              `UPDATE people SET login = 'same'`,
	"people_login_form":              `UPDATE people SET login = 'Upper Case' WHERE id = {tech}`,
	"people_role_known":              `UPDATE people SET role = 'guest'`,
	"people_password_hash_form":      `UPDATE people SET password_hash = 'secret'`,
	"people_an_owner_stays":          `UPDATE people SET active = false WHERE role = 'owner'`,
	"shop_is_one":                    `UPDATE shop SET id = 2`,
	"shop_name_present":              `UPDATE shop SET name = ''`,
	"shop_labour_range":              `UPDATE shop SET labour_per_hour_minor = -1`,
	"shop_currency_form":             `UPDATE shop SET currency = 'dollars'`,
	"shop_locale_form":               `UPDATE shop SET locale = 'English, please'`,
	"shop_language_form":             `UPDATE shop SET language = 'English, please'`,
	"shop_date_order_known":          `UPDATE shop SET date_order = 'hour'`,
	"people_language_form":           `UPDATE people SET language = 'the usual one'`,
	"shop_time_zone_present":         `UPDATE shop SET time_zone = ''`,
	"shop_distance_unit_known":       `UPDATE shop SET distance_unit = 'leagues'`,
	"shop_temperature_unit_known":    `UPDATE shop SET temperature_unit = 'k'`,
	"shop_pressure_unit_known":       `UPDATE shop SET pressure_unit = 'bar'`,
	"shop_paper_known":               `UPDATE shop SET paper = 'a3'`,
	"shop_comeback_days_range":       `UPDATE shop SET comeback_days = 0`,
	"sessions_secret_is_hashed":      `INSERT INTO sessions VALUES ('a', 'secret', {owner}, now(), now(), now() + '1h', '', '')`,
	"sessions_expire_later":          `INSERT INTO sessions VALUES ('a', sha256('s'), {owner}, now(), now(), now(), '', '')`,
	"one_time_links_purpose_known":   `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) VALUES ('fun', sha256('s'), now(), now() + '1h')`,
	"one_time_links_token_is_hashed": `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) VALUES ('first_owner', 'token', now(), now() + '1h')`,
	"one_time_links_token_once":      `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) SELECT 'first_owner', sha256('s'), now(), now() + '1h' FROM generate_series(1, 2)`,
	"one_time_links_expire_later":    `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) VALUES ('first_owner', sha256('s'), now(), now())`,
	"one_time_links_used_in_time":    `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at, used_at) VALUES ('first_owner', sha256('s'), now(), now() + '1h', now() + '2h')`,
	"one_time_links_person_fits":     `INSERT INTO one_time_links (purpose, token_hash, created_at, expires_at) VALUES ('password', sha256('s'), now(), now() + '1h')`,

	"customers_name_present":           `UPDATE customers SET name = ''`,
	"customers_phone_short":            `UPDATE customers SET phone = repeat('1', 61)`,
	"customers_email_form":             `UPDATE customers SET email = 'two words'`,
	"customers_language_form":          `UPDATE customers SET language = 'the usual one'`,
	"vehicles_plate_short":             `UPDATE vehicles SET plate = repeat('X', 21)`,
	"vehicles_vin_form":                `UPDATE vehicles SET vin = 'OIQ45678901234567'`,
	"vehicles_vin_once":                `UPDATE vehicles SET vin = '12345678901234567'`,
	"vehicles_make_present":            `UPDATE vehicles SET make = ''`,
	"vehicles_model_present":           `UPDATE vehicles SET model = ''`,
	"vehicles_model_year_range":        `UPDATE vehicles SET model_year = 14`,
	"vehicles_family_short":            `UPDATE vehicles SET family = repeat('f', 81)`,
	"vehicles_cylinders_range":         `UPDATE vehicles SET cylinders = 0`,
	"vehicles_arrangement_known":       `UPDATE vehicles SET arrangement = 'radial'`,
	"vehicles_displacement_range":      `UPDATE vehicles SET displacement_l = 2000`,
	"vehicles_fuel_present":            `UPDATE vehicles SET fuel = ''`,
	"vehicles_air_metering_known":      `UPDATE vehicles SET air_metering = 'guess'`,
	"vehicle_sensors_bank_range":       `UPDATE vehicle_sensors SET bank = 3`,
	"vehicle_sensors_position_range":   `UPDATE vehicle_sensors SET position = 5`,
	"vehicle_sensors_kind_known":       `UPDATE vehicle_sensors SET kind = 'quartz'`,
	"vehicle_sensors_connector_short":  `UPDATE vehicle_sensors SET connector = repeat('c', 201)`,
	"vehicle_sensors_wires_fit_kind":   `UPDATE vehicle_sensors SET wires = 5`,
	"vehicle_sensors_common_is_bank_1": `UPDATE vehicle_sensors SET common = true WHERE bank = 2`,
	"vehicle_sensors_one_per_place":    `UPDATE vehicle_sensors SET common = true WHERE bank = 1`,
	"vehicle_sensors_pkey":             `INSERT INTO vehicle_sensors SELECT * FROM vehicle_sensors`,
	"layouts_name_present":             `UPDATE layouts SET name = ''`,
	"layouts_name_once":                `UPDATE layouts SET name = 'same'`,
	"layout_sensors_bank_range":        `UPDATE layout_sensors SET bank = 3`,
	"layout_sensors_position_range":    `UPDATE layout_sensors SET position = 5`,
	"layout_sensors_kind_known":        `UPDATE layout_sensors SET kind = 'quartz'`,
	"layout_sensors_wires_fit_kind":    `UPDATE layout_sensors SET wires = 7`,
	"layout_sensors_common_is_bank_1":  `UPDATE layout_sensors SET common = true WHERE bank = 2`,
	"layout_sensors_one_per_place":     `UPDATE layout_sensors SET common = true WHERE bank = 1`,
	"layout_sensors_pkey":              `INSERT INTO layout_sensors SELECT * FROM layout_sensors`,

	"jobs_intake_once":                   `UPDATE jobs SET intake_id = (SELECT intake_id FROM jobs WHERE id = {open}) WHERE id = {read}`,
	"jobs_concern_present":               `UPDATE jobs SET concern = '' WHERE id = {open}`,
	"jobs_odometer_range":                `UPDATE jobs SET odometer = -1 WHERE id = {open}`,
	"jobs_odometer_unit_known":           `UPDATE jobs SET odometer_unit = 'leagues' WHERE id = {open}`,
	"jobs_outcome_known":                 `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'fine' WHERE id = {proved}`,
	"jobs_diagnosed_after_opening":       `UPDATE jobs SET diagnosed_at = opened_at - interval '1s' WHERE id = {diagnosed}`,
	"jobs_diagnosed_has_verdict":         `UPDATE jobs SET diagnosed_at = now() + '1h' WHERE id = {open}`,
	"jobs_diagnosed_is_decided":          openVerdict + `UPDATE jobs SET verdict_id = (SELECT max(id) FROM verdicts) WHERE id = {diagnosed}`,
	"jobs_verdict_of_job":                `UPDATE jobs SET verdict_id = (SELECT verdict_id FROM jobs WHERE id = {diagnosed}) WHERE id = {approved}`,
	"jobs_approved_after_verdict":        `UPDATE jobs SET approved_at = now() + '1h' WHERE id = {open}`,
	"jobs_repaired_after_approval":       `UPDATE jobs SET approved_at = NULL WHERE id = {repaired}`,
	"jobs_repaired_names_work":           `UPDATE jobs SET repaired_at = now() + '1h' WHERE id = {approved}`,
	"jobs_proved_after_repair":           `UPDATE jobs SET proved_at = repaired_at - interval '1s' WHERE id = {proved}`,
	"jobs_proved_has_proof":              `UPDATE jobs SET proved_at = now() + '1h' WHERE id = {repaired}`,
	"jobs_closed_after_verdict":          `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'not_found' WHERE id = {open}`,
	"jobs_closed_has_outcome":            `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1 WHERE id = {proved}`,
	"jobs_closed_by_someone":             `UPDATE jobs SET closed_at = now() + '1h', outcome = 'not_found' WHERE id = {proved}`,
	"jobs_closed_repair_is_proved":       `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'not_found' WHERE id = {repaired}`,
	"jobs_closed_work_is_finished":       `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'not_found' WHERE id = {worked}`,
	"jobs_closed_is_final":               `UPDATE jobs SET concern = 'other' WHERE id = {closed}`,
	"jobs_reopened_without_comeback":     `UPDATE jobs SET closed_at = NULL, closed_by = NULL, outcome = NULL WHERE id = {earlier}`,
	"jobs_confirmed_names_cause":         `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'confirmed' WHERE id = {proved}`,
	"jobs_cancelled_has_reason":          `UPDATE jobs SET cancelled_at = now(), cancelled_by = 1 WHERE id = {open}`,
	"jobs_cancelled_by_someone":          `UPDATE jobs SET cancelled_at = now(), cancelled_why = 'sold' WHERE id = {open}`,
	"jobs_closed_or_cancelled":           `UPDATE jobs SET closed_at = now() + '1h', closed_by = 1, outcome = 'not_found', cancelled_at = now(), cancelled_by = 1, cancelled_why = 'sold' WHERE id = {proved}`,
	"confirmed_causes_need_outcome":      `INSERT INTO confirmed_causes VALUES ({proved}, 'pcv_fault', 0, 0)`,
	"confirmed_causes_cause_form":        `INSERT INTO confirmed_causes VALUES ({proved}, 'Bad luck', 0, 0)`,
	"confirmed_causes_bank_range":        `INSERT INTO confirmed_causes VALUES ({proved}, 'pcv_fault', 3, 0)`,
	"confirmed_causes_position_range":    `INSERT INTO confirmed_causes VALUES ({proved}, 'pcv_fault', 1, 5)`,
	"confirmed_causes_position_has_bank": `INSERT INTO confirmed_causes VALUES ({proved}, 'pcv_fault', 0, 1)`,
	"confirmed_causes_once":              `INSERT INTO confirmed_causes SELECT * FROM confirmed_causes`,
	"confirmed_causes_of_job":            `INSERT INTO confirmed_causes VALUES (1, 'pcv_fault', 0, 0)`,
	"job_log_of_job":                     `INSERT INTO job_log (job_id, at, by, what, words) VALUES (1, now(), {owner}, 'note', 'x')`,
	"job_log_what_form":                  `INSERT INTO job_log (job_id, at, by, what, words) VALUES ({open}, now(), {owner}, 'A Note', 'x')`,
	"job_log_words_short":                `INSERT INTO job_log (job_id, at, by, what, words) VALUES ({open}, now(), {owner}, 'note', repeat('x', 8001))`,
	"job_log_note_has_words":             `INSERT INTO job_log (job_id, at, by, what, words) VALUES ({open}, now(), {owner}, 'note', ' ')`,
	"job_log_sent_once":                  `INSERT INTO job_log (job_id, at, by, what, words, sent_id) SELECT {open}, now(), {owner}, 'note', 'x', md5('n')::uuid FROM generate_series(1, 2)`,
	"job_log_append_only":                `DELETE FROM job_log`,
	"comebacks_kind_known":               `UPDATE comebacks SET kind = 'bad luck'`,
	"comebacks_words_short":              `UPDATE comebacks SET words = repeat('x', 4001)`,
	"comebacks_not_itself":               `UPDATE comebacks SET earlier_id = job_id`,
	"comebacks_job_of_vehicle":           `UPDATE comebacks SET job_id = 1, earlier_id = 2`,
	"comebacks_same_vehicle":             `INSERT INTO comebacks SELECT {part}, {earlier}, vehicle_id, 'unrelated', '', now(), 1 FROM jobs WHERE id = {part}`,
	"comebacks_after_closing":            `INSERT INTO comebacks SELECT {earlier}, {later}, vehicle_id, 'unrelated', '', now(), 1 FROM jobs WHERE id = {later}`,

	"evidence_of_job":                 entry("1", `'{"kind":"tip"}'`, `'observed'`),
	"evidence_body_form":              entry("{open}", `'[]'`, `'observed'`),
	"evidence_kind_form":              entry("{open}", `'{"kind":"A Tip"}'`, `'observed'`),
	"evidence_bank_range":             entry("{open}", `'{"kind":"tip","bank":3}'`, `'observed'`),
	"evidence_position_range":         entry("{open}", `'{"kind":"tip","bank":1,"position":9}'`, `'observed'`),
	"evidence_source_known":           entry("{open}", `'{"kind":"tip"}'`, `'dreamt'`),
	"evidence_entry_has_kind":         entry("{open}", `'{"bank":1}'`, `'observed'`),
	"evidence_position_has_bank":      entry("{open}", `'{"kind":"tip","position":1}'`, `'observed'`),
	"evidence_entry_or_withdrawal":    entry("{open}", `NULL`, `'observed'`),
	"evidence_job_is_open":            entry("{closed}", `'{"kind":"tip"}'`, `'observed'`),
	"evidence_withdrawn_once":         withdraw("{read}", "'wrong'") + withdraw("{read}", "'wrong'"),
	"evidence_reason_short":           withdraw("{read}", "repeat('x', 2001)"),
	"evidence_withdrawal_has_reason":  withdraw("{read}", "' '"),
	"evidence_withdraws_entry_of_job": strings.Replace(withdraw("{read}", "'wrong'"), "SELECT gen_random_uuid(), job_id", "SELECT gen_random_uuid(), {open}", 1),
	"evidence_append_only":            `UPDATE evidence SET body = '{"kind":"tip"}'`,
	"evidence_pkey":                   `INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at) SELECT id, job_id, body, source, entered_by, client_at, received_at FROM evidence WHERE job_id = {open}`,

	"verdicts_of_job":              verdict("1", `'{"decision":"no_part"}'`, `'[]'`, `'{}'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_decision_known":      verdict("{open}", `'{"decision":"maybe"}'`, `'[]'`, `'{}'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_causes_form":         verdict("{open}", `'{"decision":"no_part"}'`, `'{}'`, `'{}'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_costs_form":          verdict("{open}", `'{"decision":"no_part"}'`, `'[]'`, `'[]'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_engine_present":      verdict("{open}", `'{"decision":"no_part"}'`, `'[]'`, `'{}'`, `''`, `'f'`, `'{}'`),
	"verdicts_fingerprint_present": verdict("{open}", `'{"decision":"no_part"}'`, `'[]'`, `'{}'`, `'e'`, `''`, `'{}'`),
	"verdicts_case_form":           verdict("{open}", `'{"decision":"no_part"}'`, `'[]'`, `'{}'`, `'e'`, `'f'`, `'[]'`),
	"verdicts_part_names_place":    verdict("{open}", `'{"decision":"part","parts":[]}'`, `'[]'`, `'{}'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_job_is_open":         verdict("{closed}", `'{"decision":"no_part"}'`, `'[]'`, `'{}'`, `'e'`, `'f'`, `'{}'`),
	"verdicts_append_only":         `UPDATE verdicts SET engine = 'x'`,
	"overrides_of_verdict":         override("(SELECT verdict_id FROM jobs WHERE id = {approved})", "{diagnosed}", `'no_part'`, `'[]'`, `'x'`),
	"overrides_pkey":               override("(SELECT verdict_id FROM jobs WHERE id = {overridden})", "{overridden}", `'no_part'`, `'[]'`, `'x'`),
	"overrides_decision_known":     override("(SELECT verdict_id FROM jobs WHERE id = {diagnosed})", "{diagnosed}", `'open'`, `'[]'`, `'x'`),
	"overrides_parts_form":         override("(SELECT verdict_id FROM jobs WHERE id = {diagnosed})", "{diagnosed}", `'part'`, `'{}'`, `'x'`),
	"overrides_part_names_place":   override("(SELECT verdict_id FROM jobs WHERE id = {diagnosed})", "{diagnosed}", `'part'`, `'[]'`, `'x'`),
	"overrides_reason_present":     override("(SELECT verdict_id FROM jobs WHERE id = {diagnosed})", "{diagnosed}", `'no_part'`, `'[]'`, `''`),
	"overrides_job_is_open":        override("(SELECT verdict_id FROM jobs WHERE id = {closed})", "{closed}", `'no_part'`, `'[]'`, `'x'`),
	"overrides_append_only":        `DELETE FROM overrides`,
	"repairs_of_job":               repair("1", `'mended', 'pcv_fault', 0, 0, ''`),
	"repairs_action_known":         repair("{approved}", `'kicked', 'pcv_fault', 0, 0, ''`),
	"repairs_cause_form":           repair("{approved}", `'mended', 'Bad luck', 0, 0, ''`),
	"repairs_bank_range":           repair("{approved}", `'mended', 'pcv_fault', 3, 0, ''`),
	"repairs_position_range":       repair("{approved}", `'mended', 'pcv_fault', 1, 5, ''`),
	"repairs_position_has_bank":    repair("{approved}", `'mended', 'pcv_fault', 0, 1, ''`),
	"repairs_kind_known":           repair("{approved}", `'mended', 'pcv_fault', 0, 0, 'quartz'`),
	"repairs_part_number_short":    strings.Replace(repair("{approved}", `'mended', 'pcv_fault', 0, 0, ''`), "'pn'", "repeat('x', 101)", 1),
	"repairs_words_short":          strings.Replace(repair("{approved}", `'mended', 'pcv_fault', 0, 0, ''`), "'words'", "repeat('x', 4001)", 1),
	"repairs_fitted_names_place":   repair("{part}", `'fitted', '', 1, 1, ''`),
	"repairs_mended_names_cause":   repair("{approved}", `'mended', '', 0, 0, ''`),
	"repairs_undone_has_reason":    `UPDATE repairs SET undone_at = now(), undone_by = 1 WHERE job_id = {worked}`,
	"repairs_undone_by_someone":    `UPDATE repairs SET undone_at = now(), undone_why = 'x' WHERE job_id = {worked}`,
	"repairs_append_only":          `DELETE FROM repairs`,
	"repairs_job_is_open":          repair("{closed}", `'mended', 'pcv_fault', 0, 0, ''`),
	"repairs_job_is_approved":      repair("{diagnosed}", `'mended', 'pcv_fault', 0, 0, ''`),
	"repairs_part_is_justified":    repair("{approved}", `'fitted', '', 1, 1, 'zirconia'`),
	"repairs_part_is_of_kind":      repair("{part}", `'fitted', '', 1, 1, 'titania'`),
	"repairs_first_is_mended":      repair("{part}", `'fitted', '', 1, 1, 'zirconia'`),
	"proofs_entry_once":            `INSERT INTO proofs (job_id, evidence_id, at, by, passed, statement) SELECT job_id, evidence_id, at, by, passed, statement FROM proofs WHERE job_id = {proved}`,
	"proofs_statement_present":     proof("{proved}", "true", "''"),
	"proofs_rest_on_entry_of_job":  entry("{read}", `'{"kind":"result","test":"road_proof","outcome":"passed"}'`, `'observed'`) + `INSERT INTO proofs (job_id, evidence_id, at, by, passed, statement) SELECT {repaired}, id, now(), {owner}, true, 'x' FROM evidence WHERE job_id = {read} AND body ->> 'test' = 'road_proof'`,
	"proofs_rest_on_road_proof":    proof("{proved}", "false", "'x'"),
	"proofs_append_only":           `UPDATE proofs SET statement = 'x'`,
	"proofs_job_is_open":           proof("{closed}", "true", "'x'"),
	"proofs_job_is_repaired":       strings.Replace(proof("{proved}", "true", "'x'"), "SELECT job_id,", "SELECT {worked},", 1),
	"sensor_fittings_bank_range":   fitting("3, 1, 'zirconia', '', NULL, NULL, NULL, NULL, ''"),
	"sensor_fittings_position_range": fitting(
		"1, 5, 'zirconia', '', NULL, NULL, NULL, NULL, ''"),
	"sensor_fittings_kind_known":         fitting("1, 1, 'quartz', '', NULL, NULL, NULL, NULL, ''"),
	"sensor_fittings_part_number_short":  fitting("1, 1, 'zirconia', repeat('x', 101), NULL, NULL, NULL, NULL, ''"),
	"sensor_fittings_fitted_km_range":    fitting("1, 1, 'zirconia', '', NULL, -1, NULL, NULL, ''"),
	"sensor_fittings_removed_km_range":   fitting("1, 1, 'zirconia', '', NULL, NULL, now(), -1, 'x'"),
	"sensor_fittings_removed_why_short":  fitting("1, 1, 'zirconia', '', NULL, NULL, now(), NULL, repeat('x', 2001)"),
	"sensor_fittings_removed_later":      fitting("1, 1, 'zirconia', '', now(), NULL, now() - interval '1s', NULL, 'x'"),
	"sensor_fittings_removed_has_reason": fitting("1, 1, 'zirconia', '', NULL, NULL, now(), NULL, ''"),
	"sensor_fittings_one_at_a_time":      fitting("1, 1, 'zirconia', '', now(), NULL, NULL, NULL, ''") + fitting("1, 1, 'zirconia', '', now() - interval '1h', NULL, NULL, NULL, ''"),
	"sensor_fittings_repair_once":        `INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, repair_id, fitted_at, removed_at, removed_why) SELECT vehicle_id, b, 1, 'zirconia', repairs.id, now(), now() + '1h', 'x' FROM repairs JOIN jobs ON jobs.id = job_id, generate_series(1, 2) b WHERE job_id = {worked}`,

	"files_of_job":                file("1", "'a.csv', 'text/csv', 1, sha256('x')"),
	"files_pkey":                  `INSERT INTO files SELECT * FROM files`,
	"files_name_present":          file("{open}", "'', 'text/csv', 1, sha256('x')"),
	"files_media_type_form":       file("{open}", "'a.csv', 'csv', 1, sha256('x')"),
	"files_size_range":            file("{open}", "'a.csv', 'text/csv', 0, sha256('x')"),
	"files_sha256_form":           file("{open}", "'a.csv', 'text/csv', 1, 'x'"),
	"files_content_once":          file("{open}", "'a.csv', 'text/csv', 1, sha256('x')") + file("{open}", "'b.csv', 'text/csv', 1, sha256('x')"),
	"files_append_only":           `DELETE FROM files`,
	"files_job_is_open":           file("{closed}", "'a.csv', 'text/csv', 1, sha256('x')"),
	"file_chunks_n_range":         `INSERT INTO file_chunks VALUES (gen_random_uuid(), -1, 'x')`,
	"file_chunks_data_size":       `INSERT INTO file_chunks VALUES (gen_random_uuid(), 0, '')`,
	"file_chunks_append_only":     `UPDATE file_chunks SET data = 'y'`,
	"mappings_pkey":               `INSERT INTO mappings SELECT 'a', '{}', now(), {owner} FROM generate_series(1, 2)`,
	"mappings_name_present":       `INSERT INTO mappings VALUES ('', '{}', now(), {owner})`,
	"mappings_mapping_form":       `INSERT INTO mappings VALUES ('a', '[]', now(), {owner})`,
	"captures_pkey":               `INSERT INTO captures SELECT * FROM captures WHERE job_id = {read} LIMIT 1`,
	"captures_kind_known":         capture("'movie', '{}', '{}', 'm 1', '', '', NULL"),
	"captures_mapping_form":       capture("'signal', '[]', '{}', 'm 1', '', '', NULL"),
	"captures_measurements_form":  capture("'signal', '{}', '1', 'm 1', '', '', NULL"),
	"captures_program_present":    capture("'signal', '{}', '{}', '', '', '', NULL"),
	"captures_picture_size":       capture("'signal', '{}', '{}', 'm 1', repeat('x', 500001), '', NULL"),
	"captures_words_short":        capture("'signal', '{}', '{}', 'm 1', '', repeat('x', 2001), NULL"),
	"captures_replaced_once":      capture("'signal', '{}', '{}', 'm 1', '', '', c.id") + capture("'signal', '{}', '{}', 'm 1', '', '', c.id"),
	"captures_not_itself":         strings.Replace(capture("'signal', '{}', '{}', 'm 1', '', '', c.id"), "gen_random_uuid()", "c.id", 1),
	"captures_file_of_job":        strings.Replace(capture("'signal', '{}', '{}', 'm 1', '', '', NULL"), "c.file_id", "gen_random_uuid()", 1),
	"captures_replace_one_of_job": capture("'signal', '{}', '{}', 'm 1', '', '', gen_random_uuid()"),
	"captures_append_only":        `UPDATE captures SET words = 'x'`,
	"captures_job_is_open":        strings.Replace(capture("'signal', '{}', '{}', 'm 1', '', '', NULL"), "c.job_id", "{closed}", 1),
	"capture_entries_once":        capture("'signal', '{}', '{}', 'm 1', '', '', c.id") + `INSERT INTO capture_entries (capture_id, job_id, evidence_id) SELECT n.id, e.job_id, e.evidence_id FROM capture_entries e JOIN captures n ON n.replaces = e.capture_id`,
	"capture_entries_of_capture":  `INSERT INTO capture_entries (capture_id, job_id, evidence_id) SELECT gen_random_uuid(), job_id, id FROM evidence WHERE job_id = {open}`,
	"capture_entries_of_entry":    `INSERT INTO capture_entries (capture_id, job_id, evidence_id) SELECT capture_id, job_id, gen_random_uuid() FROM capture_entries`,
	"capture_entries_append_only": `DELETE FROM capture_entries`,

	"photos_of_job":                photo("1", "'tip', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_pkey":                  `INSERT INTO photos (id, job_id, subject, moment, bank, position, words, media_type, width, height, sha256, data, thumb, client_at, at, by) SELECT id, {open}, 'tip', '', 1, 1, '', 'image/png', 1, 1, sha256('x'), 'x', 'x', now(), now(), by FROM photos`,
	"photos_subject_known":         photo("{open}", "'cat', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_moment_known":          photo("{open}", "'tip', 'now', 1, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_bank_range":            photo("{open}", "'tip', '', 3, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_position_range":        photo("{open}", "'tip', '', 1, 5, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_position_has_bank":     photo("{open}", "'tip', '', 0, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_words_short":           photo("{open}", "'tip', '', 1, 1, repeat('x', 2001), NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_media_type_known":      photo("{open}", "'tip', '', 1, 1, '', NULL, 'image/svg+xml', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_pixels_range":          photo("{open}", "'tip', '', 1, 1, '', NULL, 'image/png', 30000, 30000, sha256('x'), 'x', 'x'"),
	"photos_sha256_matches":        photo("{open}", "'tip', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256('y'), 'x', 'x'"),
	"photos_data_size":             photo("{open}", "'tip', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256(''), '', 'x'"),
	"photos_thumb_size":            photo("{open}", "'tip', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', ''"),
	"photos_removed_has_reason":    `UPDATE photos SET removed_at = now(), removed_by = {owner}`,
	"photos_removed_by_someone":    `UPDATE photos SET removed_at = now(), removed_why = 'x'`,
	"photos_of_entry":              photo("{open}", "'tip', '', 1, 1, '', gen_random_uuid(), 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"photos_append_only":           `DELETE FROM photos`,
	"photos_job_is_open":           photo("{closed}", "'tip', '', 1, 1, '', NULL, 'image/png', 1, 1, sha256('x'), 'x', 'x'"),
	"test_times_of_job":            `INSERT INTO test_times VALUES (gen_random_uuid(), 1, 'tip_look', 1, 1, 5, now(), now(), {owner})`,
	"test_times_pkey":              `INSERT INTO test_times SELECT md5('a')::uuid, {open}, 'tip_look', 1, 1, n, now(), now(), {owner} FROM generate_series(1, 2) n`,
	"test_times_test_form":         `INSERT INTO test_times VALUES (gen_random_uuid(), {open}, 'Look', 1, 1, 5, now(), now(), {owner})`,
	"test_times_bank_range":        `INSERT INTO test_times VALUES (gen_random_uuid(), {open}, 'tip_look', 3, 1, 5, now(), now(), {owner})`,
	"test_times_position_range":    `INSERT INTO test_times VALUES (gen_random_uuid(), {open}, 'tip_look', 1, 5, 5, now(), now(), {owner})`,
	"test_times_minutes_range":     `INSERT INTO test_times VALUES (gen_random_uuid(), {open}, 'tip_look', 1, 1, 601, now(), now(), {owner})`,
	"test_times_append_only":       `INSERT INTO test_times VALUES (gen_random_uuid(), {open}, 'tip_look', 1, 1, 5, now(), now(), {owner}); DELETE FROM test_times`,
	"test_times_job_is_open":       `INSERT INTO test_times VALUES (gen_random_uuid(), {closed}, 'tip_look', 1, 1, 5, now(), now(), {owner})`,
	"set_asides_of_job":            setAside("1", "'tip_look', 1, 1, 'x'"),
	"set_asides_pkey":              setAside("{open}", "'tip_look', 1, 1, 'x'") + `INSERT INTO set_asides SELECT id, job_id, 'trims', bank, position, why, client_at, at, by FROM set_asides`,
	"set_asides_test_form":         setAside("{open}", "'Look', 1, 1, 'x'"),
	"set_asides_bank_range":        setAside("{open}", "'tip_look', 3, 1, 'x'"),
	"set_asides_position_range":    setAside("{open}", "'tip_look', 1, 5, 'x'"),
	"set_asides_why_present":       setAside("{open}", "'tip_look', 1, 1, ''"),
	"set_asides_lifted_by_someone": setAside("{open}", "'tip_look', 1, 1, 'x'") + `UPDATE set_asides SET lifted_at = now()`,
	"set_asides_once":              setAside("{open}", "'tip_look', 1, 1, 'x'") + setAside("{open}", "'tip_look', 1, 1, 'y'"),
	"set_asides_job_is_open":       setAside("{closed}", "'tip_look', 1, 1, 'x'"),
	"maker_data_family_short":      makerData("family", "repeat('x', 81)"),
	"maker_data_bank_range":        makerData("family, bank", "'T', 3"),
	"maker_data_position_range":    makerData("family, bank, position", "'T', 1, 5"),
	"maker_data_position_has_bank": makerData("family, bank, position", "'T', 0, 1"),
	"maker_data_torque_range":      makerData("family, torque_nm", "'T', 0"),
	"maker_data_thread_short":      makerData("family, thread", "'T', repeat('x', 41)"),
	"maker_data_socket_range":      makerData("family, socket_mm", "'T', 61"),
	"maker_data_ohm_range":         makerData("family, ohm_low, ohm_high", "'T', 8, 5"),
	"maker_data_kpa_range":         makerData("family, kpa_low", "'T', 300"),
	"maker_data_words_short":       makerData("family, words", "'T', repeat('x', 4001)"),
	"maker_data_source_present":    strings.Replace(makerData("family", "'T'"), "'handbook'", "''", 1),
	"maker_data_family_or_vehicle": makerData("family", "''"),
	"maker_data_once":              makerData("family", "'T'") + makerData("family", "'T'"),
	"repairs_torque_range":         strings.Replace(repair("{approved}", `'mended', 'pcv_fault', 0, 0, ''`), "words)", "words, torque_nm)", 1) + ", 0",

	"accounts_of_job":                      `INSERT INTO accounts VALUES (1, 'USD')`,
	"accounts_currency_form":               `INSERT INTO accounts VALUES ({open}, 'dollar')`,
	"tax_rates_name_present":               `INSERT INTO tax_rates (name, ppm) VALUES ('', 0)`,
	"tax_rates_name_once":                  `INSERT INTO tax_rates (name, ppm) SELECT 'VAT', n FROM generate_series(1, 2) n`,
	"tax_rates_ppm_range":                  `INSERT INTO tax_rates (name, ppm) VALUES ('VAT', 1000001)`,
	"authorisations_pkey":                  `INSERT INTO authorisations (id, job_id, currency, scope, limit_minor, who, how, said_at, words, at, by) SELECT id, job_id, currency, 'diagnosis', 99999, 'K', 'message', now(), '', now(), by FROM authorisations`,
	"authorisations_scope_known":           authorisation("{read}", "'USD', 'all', 1, 'Kim', 'telephone', now(), '', NULL"),
	"authorisations_limit_range":           authorisation("{read}", "'USD', 'repair', -1, 'Kim', 'telephone', now(), '', NULL"),
	"authorisations_who_present":           authorisation("{read}", "'USD', 'repair', 1, '', 'telephone', now(), '', NULL"),
	"authorisations_how_known":             authorisation("{read}", "'USD', 'repair', 1, 'Kim', 'telepathy', now(), '', NULL"),
	"authorisations_words_short":           authorisation("{read}", "'USD', 'repair', 1, 'Kim', 'telephone', now(), repeat('x', 4001), NULL"),
	"authorisations_promise_form":          authorisation("{read}", "'USD', 'repair', 1, 'Kim', 'telephone', now(), '', '[]'"),
	"authorisations_said_before":           authorisation("{read}", "'USD', 'repair', 1, 'Kim', 'telephone', now() + '1d', '', NULL"),
	"authorisations_in_currency":           authorisation("{read}", "'EUR', 'repair', 1, 'Kim', 'telephone', now(), '', NULL"),
	"authorisations_append_only":           `DELETE FROM authorisations`,
	"authorisations_cover_what_is_done":    authorisation("{read}", "'USD', 'diagnosis', 1, 'Kim', 'telephone', now(), '', NULL"),
	"documents_kind_known":                 document("'USD', 'letter', 9, 0, 0, '{}'"),
	"documents_number_once":                document("'USD', 'invoice', 1, 0, 0, '{}'"),
	"documents_total_range":                document("'USD', 'invoice', 9, -1, 0, '{}'"),
	"documents_body_form":                  document("'USD', 'invoice', 9, 0, 0, '[]'"),
	"documents_in_currency":                document("'EUR', 'invoice', 9, 0, 0, '{}'"),
	"documents_voided_has_reason":          document("'USD', 'invoice', 9, 0, 0, '{}'") + `UPDATE documents SET voided_at = now(), voided_by = 1 WHERE number = 9`,
	"documents_voided_by_someone":          document("'USD', 'invoice', 9, 0, 0, '{}'") + `UPDATE documents SET voided_at = now(), voided_why = 'x' WHERE number = 9`,
	"documents_append_only":                `DELETE FROM documents`,
	"documents_voided_is_unpaid":           `UPDATE documents SET voided_at = now(), voided_by = 1, voided_why = 'x' WHERE number = 1`,
	"lines_scope_known":                    line("scope", "'all'"),
	"lines_kind_known":                     line("kind", "'gift'"),
	"lines_words_present":                  line("words", "''"),
	"lines_quantity_range":                 line("quantity", "0"),
	"lines_unit_range":                     line("unit_minor", "100000000001"),
	"lines_discount_is_negative":           line("kind", "'discount'"),
	"lines_tax_range":                      line("tax_ppm", "1000001"),
	"lines_cause_form":                     line("cause", "'Bad luck'"),
	"lines_test_form":                      line("test", "'A Test'"),
	"lines_bank_range":                     line("bank", "3"),
	"lines_position_range":                 line("bank, position", "1, 5"),
	"lines_position_has_bank":              line("position", "1"),
	"lines_sensor_kind_known":              line("kind, bank, position, sensor_kind", "'part', 1, 1, 'quartz'"),
	"lines_sensor_has_place":               line("kind, bank, position", "'part', 1, 1"),
	"lines_wires_range":                    line("wires", "7"),
	"lines_connector_short":                line("connector", "repeat('x', 201)"),
	"lines_part_number_short":              line("part_number", "repeat('x', 101)"),
	"lines_supplier_short":                 line("supplier", "repeat('x', 201)"),
	"lines_core_range":                     line("core_minor", "-1"),
	"lines_status_known":                   line("status", "'maybe'"),
	"lines_consequence_short":              line("consequence", "repeat('x', 2001)"),
	"lines_declined_has_consequence":       line("status, declined_at, declined_by", "'declined', now(), 1"),
	"lines_declined_by_someone":            line("status, declined_at, consequence", "'declined', now(), 'x'"),
	"lines_invoiced_is_done":               line("invoice_id", "(SELECT min(id) FROM documents)"),
	"lines_invoiced_is_final":              `DELETE FROM lines`,
	"lines_in_currency":                    strings.Replace(line("bank", "0"), "'USD'", "'EUR'", 1),
	"lines_invoice_of_job":                 `INSERT INTO accounts VALUES ({open}, 'USD');` + strings.Replace(line("scope, unit_minor, status, invoice_id", "'repair', 0, 'done', (SELECT min(id) FROM documents)"), "{read}", "{open}", 1),
	"lines_part_fits_place":                line("kind, bank, position, sensor_kind", "'part', 1, 1, 'wide_range'"),
	"lines_within_authorisation":           line("unit_minor, status", "100000, 'done'"),
	"payments_pkey":                        `INSERT INTO payments SELECT id, document_id, job_id, currency, 1, method, words, at, by FROM payments`,
	"payments_amount_present":              payment("(SELECT min(id) FROM documents), {read}, 'USD', 0, 'cash', ''"),
	"payments_method_known":                payment("(SELECT min(id) FROM documents), {read}, 'USD', 1, 'gold', ''"),
	"payments_words_short":                 payment("(SELECT min(id) FROM documents), {read}, 'USD', 1, 'cash', repeat('x', 501)"),
	"payments_of_document":                 payment("(SELECT min(id) FROM documents), {open}, 'USD', 1, 'cash', ''"),
	"payments_append_only":                 `DELETE FROM payments`,
	"payments_invoice_stands":              document("'USD', 'estimate', 9, 100, 0, '{}'") + payment("(SELECT max(id) FROM documents), {read}, 'USD', 1, 'cash', ''"),
	"payments_within_total":                payment("(SELECT min(id) FROM documents), {read}, 'USD', 100000, 'cash', ''"),
	"customer_links_of_job":                customerLink("1, sha256('t'), now(), 1, now() + '1h'"),
	"customer_links_token_is_hashed":       customerLink("{open}, 'token', now(), 1, now() + '1h'"),
	"customer_links_token_once":            customerLink("{open}, sha256('t'), now(), 1, now() + '1h'") + customerLink("{open}, sha256('t'), now(), 1, now() + '1h'"),
	"customer_links_expire_later":          customerLink("{open}, sha256('t'), now(), 1, now()"),
	"customer_links_revoked_by_someone":    customerLink("{open}, sha256('t'), now(), 1, now() + '1h'") + `UPDATE customer_links SET revoked_at = now()`,
	"customer_link_views_append_only":      customerLink("{open}, sha256('t'), now(), 1, now() + '1h'") + `INSERT INTO customer_link_views SELECT id, now(), '', '' FROM customer_links; DELETE FROM customer_link_views`,
	"converter_papers_of_job":              converter("1, 1, 'melted', 'K', 'T', 'Kim', '2026-01-01', NULL"),
	"converter_papers_bank_range":          converter("{open}, 3, 'melted', 'K', 'T', 'Kim', '2026-01-01', NULL"),
	"converter_papers_need_present":        converter("{open}, 1, '', 'K', 'T', 'Kim', '2026-01-01', NULL"),
	"converter_papers_part_number_present": converter("{open}, 1, 'melted', '', 'T', 'Kim', '2026-01-01', NULL"),
	"converter_papers_tag_present":         converter("{open}, 1, 'melted', 'K', '', 'Kim', '2026-01-01', NULL"),
	"converter_papers_tag_once":            converter("{open}, 1, 'melted', 'K', 'T', 'Kim', '2026-01-01', NULL") + converter("{open}, 1, 'melted', 'K', 'T', 'Kim', '2026-01-01', NULL"),
	"converter_papers_customer_present":    converter("{open}, 1, 'melted', 'K', 'T', '', '2026-01-01', NULL"),
	"converter_papers_unit_is_kept":        converter("{open}, 1, 'melted', 'K', 'T', 'Kim', '2026-01-01', '2026-01-16'"),
}

// unreachable are keys that only serve a foreign key: another constraint is
// always broken first. They have a sentence all the same.
var unreachable = []string{"jobs_of_vehicle", "evidence_standing_key", "verdicts_key", "repairs_key", "files_key", "captures_key", "accounts_key", "documents_key",
	"documents_have_lines", "overrides_of_verdict_in_force"}

const openVerdict = `INSERT INTO verdicts (job_id, at, accepted_by, verdict, causes, costs, engine, fingerprint, case_body)
	VALUES ({diagnosed}, now(), {owner}, '{"decision":"open"}', '[]', '{}', 'e', 'f', '{}');`

func entry(job, body, source string) string {
	return fmt.Sprintf(`INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at)
		VALUES (gen_random_uuid(), %s, %s, %s, {owner}, now(), now());`, job, body, source)
}

func withdraw(job, reason string) string {
	return fmt.Sprintf(`INSERT INTO evidence (id, job_id, withdraws, reason, source, entered_by, client_at, received_at)
		SELECT gen_random_uuid(), job_id, id, %s, 'observed', {owner}, now(), now() FROM evidence
		WHERE seq = (SELECT min(seq) FROM evidence WHERE job_id = %s);`, reason, job)
}

func verdict(job, body, causes, costs, engine, fingerprint, caseBody string) string {
	return fmt.Sprintf(`INSERT INTO verdicts (job_id, at, accepted_by, verdict, causes, costs, engine, fingerprint, case_body)
		VALUES (%s, now(), {owner}, %s, %s, %s, %s, %s, %s)`, job, body, causes, costs, engine, fingerprint, caseBody)
}

func override(verdict, job, decision, parts, reason string) string {
	return fmt.Sprintf(`INSERT INTO overrides (verdict_id, job_id, at, by, decision, parts, reason)
		VALUES (%s, %s, now(), {owner}, %s, %s, %s)`, verdict, job, decision, parts, reason)
}

func repair(job, rest string) string {
	return fmt.Sprintf(`INSERT INTO repairs (job_id, at, by, action, cause, bank, position, kind, part_number, words)
		SELECT %s, now(), {owner}, %s, 'pn', 'words'`, job, rest)
}

func proof(job, passed, statement string) string {
	return fmt.Sprintf(`INSERT INTO proofs (job_id, evidence_id, at, by, passed, statement)
		SELECT job_id, evidence_id, now(), {owner}, %s, %s FROM proofs WHERE job_id = %s`, passed, statement, job)
}

func fitting(rest string) string {
	return fmt.Sprintf(`INSERT INTO sensor_fittings (vehicle_id, bank, position, kind, part_number, fitted_at, fitted_km, removed_at,
		removed_km, removed_why) SELECT vehicle_id, %s FROM jobs WHERE id = {open};`, rest)
}

func file(job, rest string) string {
	return fmt.Sprintf(`INSERT INTO files (id, job_id, name, media_type, size, sha256, at, by)
		SELECT gen_random_uuid(), %s, %s, now(), {owner};`, job, rest)
}

// capture adds one to the fixture's capture c.
func capture(rest string) string {
	return fmt.Sprintf(`INSERT INTO captures (id, job_id, file_id, kind, mapping, measurements, program, picture, words, replaces, at, by)
		SELECT gen_random_uuid(), c.job_id, c.file_id, %s, now(), {owner} FROM captures c WHERE c.replaces IS NULL;`, rest)
}

func photo(job, rest string) string {
	return fmt.Sprintf(`INSERT INTO photos (id, job_id, subject, moment, bank, position, words, evidence_id, media_type, width, height,
		sha256, data, thumb, client_at, at, by) VALUES (gen_random_uuid(), %s, %s, now(), now(), {owner});`, job, rest)
}

func setAside(job, rest string) string {
	return fmt.Sprintf(`INSERT INTO set_asides (id, job_id, test, bank, position, why, client_at, at, by)
		VALUES (gen_random_uuid(), %s, %s, now(), now(), {owner});`, job, rest)
}

// makerData sets the columns named; bank and position are 0 unless they are.
func makerData(columns, values string) string {
	for _, c := range []string{"bank", "position"} {
		if !strings.Contains(columns, c) {
			columns, values = columns+", "+c, values+", 0"
		}
	}
	return fmt.Sprintf(`INSERT INTO maker_data (%s, source, changed_at, changed_by) VALUES (%s, 'handbook', now(), {owner});`, columns, values)
}

func authorisation(job, rest string) string {
	return fmt.Sprintf(`INSERT INTO authorisations (id, job_id, currency, scope, limit_minor, who, how, said_at, words, promise, at, by)
		VALUES (gen_random_uuid(), %s, %s, now(), {owner});`, job, rest)
}

func document(rest string) string {
	return fmt.Sprintf(`INSERT INTO documents (job_id, currency, kind, number, net_minor, tax_minor, body, at, by)
		VALUES ({read}, %s, now(), {owner});`, rest)
}

// line adds an hour of labour to the fixture's paid job, with the columns named
// set otherwise.
func line(columns, values string) string {
	for _, c := range [][2]string{{"scope", "'diagnosis'"}, {"kind", "'labour'"}, {"words", "'Smoke test'"}, {"quantity", "1"},
		{"unit_minor", "12000"}, {"tax_ppm", "0"}} {
		if !slices.Contains(strings.Split(columns, ", "), c[0]) {
			columns, values = columns+", "+c[0], values+", "+c[1]
		}
	}
	return fmt.Sprintf(`INSERT INTO lines (job_id, currency, at, by, %s) VALUES ({read}, 'USD', now(), {owner}, %s);`, columns, values)
}

func payment(rest string) string {
	return fmt.Sprintf(`INSERT INTO payments (id, document_id, job_id, currency, amount_minor, method, words, at, by)
		VALUES (gen_random_uuid(), %s, now(), {owner});`, rest)
}

func customerLink(rest string) string {
	return fmt.Sprintf(`INSERT INTO customer_links (job_id, token_hash, created_at, created_by, expires_at) VALUES (%s);`, rest)
}

func converter(rest string) string {
	return fmt.Sprintf(`INSERT INTO converter_papers (job_id, bank, need, part_number, tag, customer_name, removed_on, unit_gone_on, at, by)
		VALUES (%s, now(), {owner});`, rest)
}

// fixture fills a shop with a job at each stage and returns the ids by name.
func fixture(t *testing.T, db *pgxpool.Pool) map[string]int64 {
	st := store.New(db)
	ctx := t.Context()
	factory.Shop(t, st)
	owner := factory.Person(t, st, store.Owner).ID
	ids := map[string]int64{"owner": owner, "tech": factory.Person(t, st, store.Technician).ID}
	for name, stage := range map[string]factory.Stage{"open": factory.Opened, "read": factory.Read, "diagnosed": factory.Diagnosed,
		"approved": factory.Approved, "worked": factory.Worked, "repaired": factory.Repaired, "proved": factory.Proved,
		"closed": factory.Closed, "earlier": factory.Closed} {
		ids[name] = factory.JobAt(t, st, owner, stage)
	}
	f, err := st.JobFile(ctx, ids["earlier"])
	if err != nil {
		t.Fatal(err)
	}
	ids["later"] = factory.Job(t, st, owner, func(in *store.Intake) {
		in.Customer, in.Vehicle, in.Sensors, in.ComebackOf = f.Customer, f.Vehicle, nil, f.Job.ID
	})
	ids["part"] = factory.JobAt(t, st, owner, factory.Read)
	if _, err := st.AcceptVerdict(ctx, owner, factory.Part(ids["part"])); err != nil {
		t.Fatal(err)
	}
	if err := st.Approve(ctx, owner, ids["part"], ""); err != nil {
		t.Fatal(err)
	}
	ids["overridden"] = factory.JobAt(t, st, owner, factory.Read)
	_, err = st.AcceptVerdict(ctx, owner, factory.Part(ids["overridden"], func(v *store.NewVerdict) {
		v.Override = &store.NewOverride{Decision: "no_part", Reason: "The customer sells the car."}
	}))
	if err != nil {
		t.Fatal(err)
	}
	capture := factory.Capture(t, st, owner, ids["read"])
	if _, err := st.AddCapture(ctx, owner, capture); err != nil {
		t.Fatal(err)
	}
	if _, err := st.AddPhoto(ctx, owner, factory.Photo(ids["read"])); err != nil {
		t.Fatal(err)
	}
	invoice := factory.Invoice(t, st, owner, ids["read"], 12000)
	if _, err := st.AddPayment(ctx, owner, store.NewPayment{ID: store.NewID(), JobID: ids["read"], DocumentID: invoice.ID, AmountMinor: 500, Method: "cash"}); err != nil {
		t.Fatal(err)
	}
	return ids
}

func TestRules(t *testing.T) {
	db := storetest.DB(t)
	var pairs []string
	for name, id := range fixture(t, db) {
		pairs = append(pairs, "{"+name+"}", fmt.Sprint(id))
	}
	ids := strings.NewReplacer(pairs...)
	for _, name := range slices.Sorted(maps.Keys(provocations)) {
		t.Run("comes back as a sentence: "+name, func(t *testing.T) {
			err := pgx.BeginFunc(t.Context(), db, func(tx pgx.Tx) error {
				if _, err := tx.Exec(t.Context(), ids.Replace(provocations[name])); err != nil {
					return err
				}
				if _, err := tx.Exec(t.Context(), `SET CONSTRAINTS ALL IMMEDIATE`); err != nil {
					return err
				}
				return errors.New("nothing was refused")
			})
			e, ok := errors.AsType[*store.Error](store.Translate(err))
			if !ok {
				t.Fatal(err)
			}
			want, _ := store.SentenceOf(name)
			if e.Constraint != name || e.Sentence != want || want == "" {
				t.Errorf("got %s: %s (%v)", e.Constraint, e.Sentence, err)
			}
			if e.Kind != store.Rule && e.Kind != store.Conflict {
				t.Errorf("got kind %s", e.Kind)
			}
		})
	}
}

func TestSentences(t *testing.T) {
	db := storetest.DB(t)
	rows, _ := db.Query(t.Context(), `
		SELECT conname::text FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND contype <> 't'
			AND conname !~ '_(pkey|fkey)$'
		UNION SELECT indexrelid::regclass::text FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
		WHERE c.relnamespace = 'public'::regnamespace AND indisunique
			AND NOT EXISTS (SELECT FROM pg_constraint WHERE conindid = indexrelid)`)
	named, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	named = slices.DeleteFunc(named, func(n string) bool { return n == "schema_migrations_pkey" })
	raised := regexp.MustCompile(`CONSTRAINT = '([a-z_0-9]+)'`)
	files, _ := fs.Glob(migrations.Files, "*.up.sql")
	for _, f := range files {
		text, err := migrations.Files.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range raised.FindAllStringSubmatch(string(text), -1) {
			named = append(named, m[1])
		}
	}
	rows, _ = db.Query(t.Context(), `
		SELECT tgrelid::regclass || CASE proname WHEN 'refuse_change' THEN '_append_only' ELSE '_job_is_open' END
		FROM pg_trigger t JOIN pg_proc p ON p.oid = tgfoid
		WHERE proname IN ('refuse_change', 'refuse_finished_job', 'verdicts_guard')`)
	byTable, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	named = append(named, byTable...)
	t.Run("every named constraint has one", func(t *testing.T) {
		for _, n := range named {
			if _, ok := store.SentenceOf(n); !ok {
				t.Errorf("%s has none", n)
			}
		}
	})
	t.Run("every one is provoked by a test", func(t *testing.T) {
		for _, n := range store.SentencedConstraints() {
			if _, ok := provocations[n]; !ok && !slices.Contains(unreachable, n) {
				t.Errorf("%s is not", n)
			}
		}
	})
	t.Run("every one is a sentence", func(t *testing.T) {
		for _, n := range store.SentencedConstraints() {
			if s, _ := store.SentenceOf(n); !strings.HasSuffix(s, ".") || strings.ToUpper(s[:1]) != s[:1] {
				t.Errorf("%s: %q", n, s)
			}
		}
	})
}
