-- What the engine concluded and a person accepted, with all it rested on.
CREATE TABLE verdicts (
    id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id      bigint NOT NULL CONSTRAINT verdicts_of_job REFERENCES jobs,
    at          timestamptz NOT NULL,
    accepted_by bigint NOT NULL REFERENCES people,
    decision    text NOT NULL GENERATED ALWAYS AS (verdict ->> 'decision') STORED
                CONSTRAINT verdicts_decision_known CHECK (decision IN ('part', 'no_part', 'open')),
    verdict     jsonb NOT NULL, -- diag.Verdict: decision, parts, first, mend, firm, why
    causes      jsonb NOT NULL -- probabilities, one row per cause
                CONSTRAINT verdicts_causes_form CHECK (jsonb_typeof(causes) = 'array'),
    costs       jsonb NOT NULL
                CONSTRAINT verdicts_costs_form CHECK (jsonb_typeof(costs) = 'object'),
    engine      text NOT NULL
                CONSTRAINT verdicts_engine_present CHECK (engine ~ '\S'),
    fingerprint text NOT NULL
                CONSTRAINT verdicts_fingerprint_present CHECK (fingerprint ~ '\S'),
    case_body   jsonb NOT NULL
                CONSTRAINT verdicts_case_form CHECK (jsonb_typeof(case_body) = 'object'),
    CONSTRAINT verdicts_key UNIQUE (job_id, id),
    CONSTRAINT verdicts_part_names_place CHECK (decision <> 'part'
        OR (jsonb_typeof(verdict -> 'parts') = 'array' AND verdict -> 'parts' <> '[]'))
);
CREATE TRIGGER verdicts_append_only BEFORE UPDATE OR DELETE ON verdicts
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER verdicts_announce AFTER INSERT ON verdicts
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- A person decides otherwise; one word on one verdict.
CREATE TABLE overrides (
    verdict_id bigint PRIMARY KEY,
    job_id     bigint NOT NULL,
    at         timestamptz NOT NULL,
    by         bigint NOT NULL REFERENCES people,
    decision   text NOT NULL
               CONSTRAINT overrides_decision_known CHECK (decision IN ('part', 'no_part')),
    parts      jsonb NOT NULL
               CONSTRAINT overrides_parts_form CHECK (jsonb_typeof(parts) = 'array'),
    reason     text NOT NULL
               CONSTRAINT overrides_reason_present CHECK (reason ~ '\S' AND length(reason) <= 4000),
    CONSTRAINT overrides_of_verdict FOREIGN KEY (job_id, verdict_id) REFERENCES verdicts (job_id, id),
    CONSTRAINT overrides_part_names_place CHECK ((decision = 'part') = (parts <> '[]'))
);
CREATE INDEX overrides_job ON overrides (job_id);
CREATE TRIGGER overrides_append_only BEFORE UPDATE OR DELETE ON overrides
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER overrides_announce AFTER INSERT ON overrides
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

CREATE FUNCTION verdicts_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT job_is_open(NEW.job_id) THEN
        RAISE EXCEPTION 'job % is closed', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME, CONSTRAINT = TG_TABLE_NAME || '_job_is_open';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER verdicts_guard BEFORE INSERT ON verdicts
    FOR EACH ROW EXECUTE FUNCTION verdicts_guard();
CREATE TRIGGER overrides_guard BEFORE INSERT ON overrides
    FOR EACH ROW EXECUTE FUNCTION verdicts_guard();

-- The verdict in force.
ALTER TABLE jobs
    ADD COLUMN verdict_id bigint,
    ADD CONSTRAINT jobs_verdict_of_job FOREIGN KEY (id, verdict_id) REFERENCES verdicts (job_id, id),
    ADD CONSTRAINT jobs_diagnosed_has_verdict CHECK ((diagnosed_at IS NULL) = (verdict_id IS NULL));

-- What was done to the car.
CREATE TABLE repairs (
    id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id      bigint NOT NULL CONSTRAINT repairs_of_job REFERENCES jobs,
    at          timestamptz NOT NULL,
    by          bigint NOT NULL REFERENCES people,
    action      text NOT NULL
                CONSTRAINT repairs_action_known CHECK (action IN ('mended', 'fitted')),
    cause       text NOT NULL -- what it was meant to mend
                CONSTRAINT repairs_cause_form CHECK (cause ~ '^([a-z][a-z_]*)?$'),
    bank        smallint NOT NULL
                CONSTRAINT repairs_bank_range CHECK (bank BETWEEN 0 AND 2),
    position    smallint NOT NULL
                CONSTRAINT repairs_position_range CHECK (position BETWEEN 0 AND 4),
    kind        text NOT NULL DEFAULT '' -- of the sensor fitted
                CONSTRAINT repairs_kind_known CHECK (kind IN ('', 'zirconia', 'titania', 'wide_range')),
    part_number text NOT NULL DEFAULT ''
                CONSTRAINT repairs_part_number_short CHECK (length(part_number) <= 100),
    words       text NOT NULL DEFAULT ''
                CONSTRAINT repairs_words_short CHECK (length(words) <= 4000),
    despite     text NOT NULL DEFAULT '', -- why a part went in before the maker of the damage was mended
    undone_at   timestamptz,
    undone_by   bigint REFERENCES people,
    undone_why  text NOT NULL DEFAULT '',
    CONSTRAINT repairs_key UNIQUE (job_id, id),
    CONSTRAINT repairs_position_has_bank CHECK (position = 0 OR bank > 0),
    CONSTRAINT repairs_fitted_names_place CHECK (action <> 'fitted' OR (bank > 0 AND position > 0 AND kind <> '')),
    CONSTRAINT repairs_mended_names_cause CHECK (action <> 'mended' OR cause <> ''),
    CONSTRAINT repairs_undone_has_reason CHECK ((undone_at IS NOT NULL) = (undone_why ~ '\S')),
    CONSTRAINT repairs_undone_by_someone CHECK ((undone_at IS NULL) = (undone_by IS NULL))
);
CREATE TRIGGER repairs_announce AFTER INSERT OR UPDATE ON repairs
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

CREATE FUNCTION repairs_guard() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    job        jobs;
    standing   verdicts;
    other_word overrides;
    parts      jsonb;
BEGIN
    IF TG_OP = 'DELETE' OR (TG_OP = 'UPDATE' AND (OLD.undone_at IS NOT NULL
        OR to_jsonb(NEW) - '{undone_at,undone_by,undone_why}'::text[] <> to_jsonb(OLD) - '{undone_at,undone_by,undone_why}'::text[])) THEN
        RAISE EXCEPTION 'a repair is only ever undone'
            USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_append_only';
    END IF;
    SELECT * INTO job FROM jobs WHERE id = NEW.job_id FOR SHARE;
    IF job.closed_at IS NOT NULL OR job.cancelled_at IS NOT NULL THEN
        RAISE EXCEPTION 'job % is closed', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_job_is_open';
    END IF;
    IF TG_OP = 'UPDATE' OR job.id IS NULL THEN
        RETURN NEW;
    END IF;
    IF job.approved_at IS NULL THEN
        RAISE EXCEPTION 'job % is not approved', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_job_is_approved';
    END IF;
    IF NEW.action = 'fitted' AND NEW.kind <> '' THEN
        SELECT * INTO standing FROM verdicts WHERE id = job.verdict_id;
        SELECT * INTO other_word FROM overrides WHERE verdict_id = job.verdict_id;
        parts := coalesce(other_word.parts, standing.verdict -> 'parts');
        IF NOT parts @> jsonb_build_array(jsonb_build_object('bank', NEW.bank, 'position', NEW.position)) THEN
            RAISE EXCEPTION 'the verdict asks for no part there'
                USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_part_is_justified';
        END IF;
        IF NOT parts @> jsonb_build_array(jsonb_build_object('bank', NEW.bank, 'position', NEW.position, 'kind', NEW.kind)) THEN
            RAISE EXCEPTION 'the verdict asks for another kind there'
                USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_part_is_of_kind';
        END IF;
        IF NEW.despite !~ '\S' AND EXISTS (
            SELECT FROM jsonb_to_recordset(CASE jsonb_typeof(standing.verdict -> 'first')
                    WHEN 'array' THEN standing.verdict -> 'first' ELSE '[]' END) AS f (cause text, bank smallint)
            WHERE NOT EXISTS (SELECT FROM repairs r WHERE r.job_id = NEW.job_id AND r.action = 'mended'
                AND r.undone_at IS NULL AND r.cause = f.cause AND r.bank = coalesce(f.bank, 0))) THEN
            RAISE EXCEPTION 'something has to be mended first'
                USING ERRCODE = 'check_violation', TABLE = 'repairs', CONSTRAINT = 'repairs_first_is_mended';
        END IF;
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER repairs_guard BEFORE INSERT OR UPDATE OR DELETE ON repairs
    FOR EACH ROW EXECUTE FUNCTION repairs_guard();

-- Which sensor sat where, from when to when. An unknown start is open.
CREATE TABLE sensor_fittings (
    id           bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    vehicle_id   bigint NOT NULL REFERENCES vehicles,
    bank         smallint NOT NULL
                 CONSTRAINT sensor_fittings_bank_range CHECK (bank BETWEEN 1 AND 2),
    position     smallint NOT NULL
                 CONSTRAINT sensor_fittings_position_range CHECK (position BETWEEN 1 AND 4),
    kind         text NOT NULL
                 CONSTRAINT sensor_fittings_kind_known CHECK (kind IN ('zirconia', 'titania', 'wide_range')),
    part_number  text NOT NULL DEFAULT ''
                 CONSTRAINT sensor_fittings_part_number_short CHECK (length(part_number) <= 100),
    repair_id    bigint CONSTRAINT sensor_fittings_repair_once UNIQUE REFERENCES repairs, -- null: fitted elsewhere
    fitted_at    timestamptz,
    fitted_km    integer CONSTRAINT sensor_fittings_fitted_km_range CHECK (fitted_km BETWEEN 0 AND 5000000),
    removed_at   timestamptz,
    removed_km   integer CONSTRAINT sensor_fittings_removed_km_range CHECK (removed_km BETWEEN 0 AND 5000000),
    removed_job  bigint REFERENCES jobs,
    removed_why  text NOT NULL DEFAULT ''
                 CONSTRAINT sensor_fittings_removed_why_short CHECK (length(removed_why) <= 2000),
    CONSTRAINT sensor_fittings_removed_later CHECK (removed_at >= fitted_at),
    CONSTRAINT sensor_fittings_removed_has_reason CHECK ((removed_at IS NOT NULL) = (removed_why ~ '\S')),
    CONSTRAINT sensor_fittings_one_at_a_time EXCLUDE USING gist (
        int8range(vehicle_id, vehicle_id, '[]') WITH &&,
        int4range(bank, bank, '[]') WITH &&,
        int4range(position, position, '[]') WITH &&,
        tstzrange(fitted_at, removed_at) WITH &&)
);
CREATE INDEX sensor_fittings_vehicle ON sensor_fittings (vehicle_id);

-- The repair put to the test: a road_proof entry of the log and a statement.
CREATE TABLE proofs (
    id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id      bigint NOT NULL,
    evidence_id uuid NOT NULL
                CONSTRAINT proofs_entry_once UNIQUE,
    is_entry    boolean NOT NULL GENERATED ALWAYS AS (true) STORED,
    at          timestamptz NOT NULL,
    by          bigint NOT NULL REFERENCES people,
    passed      boolean NOT NULL,
    statement   text NOT NULL
                CONSTRAINT proofs_statement_present CHECK (statement ~ '\S' AND length(statement) <= 4000),
    CONSTRAINT proofs_rest_on_entry_of_job FOREIGN KEY (evidence_id, job_id, is_entry)
        REFERENCES evidence (id, job_id, is_entry)
);
CREATE INDEX proofs_job ON proofs (job_id);
CREATE TRIGGER proofs_append_only BEFORE UPDATE OR DELETE ON proofs
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER proofs_announce AFTER INSERT ON proofs
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

CREATE FUNCTION proofs_guard() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    job   jobs;
    entry jsonb;
BEGIN
    SELECT * INTO job FROM jobs WHERE id = NEW.job_id FOR SHARE;
    IF job.closed_at IS NOT NULL OR job.cancelled_at IS NOT NULL THEN
        RAISE EXCEPTION 'job % is closed', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = 'proofs', CONSTRAINT = 'proofs_job_is_open';
    END IF;
    IF job.id IS NOT NULL AND job.repaired_at IS NULL THEN
        RAISE EXCEPTION 'job % is not repaired', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = 'proofs', CONSTRAINT = 'proofs_job_is_repaired';
    END IF;
    SELECT body INTO entry FROM standing_evidence WHERE id = NEW.evidence_id;
    IF entry ->> 'test' IS DISTINCT FROM 'road_proof'
        OR (entry ->> 'outcome' = 'passed') IS DISTINCT FROM NEW.passed THEN
        RAISE EXCEPTION 'the entry is no standing road proof with that result'
            USING ERRCODE = 'check_violation', TABLE = 'proofs', CONSTRAINT = 'proofs_rest_on_road_proof';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER proofs_guard BEFORE INSERT ON proofs
    FOR EACH ROW EXECUTE FUNCTION proofs_guard();

-- What it turned out to be.
CREATE TABLE confirmed_causes (
    job_id   bigint NOT NULL CONSTRAINT confirmed_causes_of_job REFERENCES jobs,
    cause    text NOT NULL
             CONSTRAINT confirmed_causes_cause_form CHECK (cause ~ '^[a-z][a-z_]*$'),
    bank     smallint NOT NULL
             CONSTRAINT confirmed_causes_bank_range CHECK (bank BETWEEN 0 AND 2),
    position smallint NOT NULL
             CONSTRAINT confirmed_causes_position_range CHECK (position BETWEEN 0 AND 4),
    CONSTRAINT confirmed_causes_once PRIMARY KEY (job_id, cause, bank, position),
    CONSTRAINT confirmed_causes_position_has_bank CHECK (position = 0 OR bank > 0)
);
CREATE INDEX confirmed_causes_cause ON confirmed_causes (cause);

CREATE FUNCTION jobs_outcome_guard() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    job      bigint := CASE TG_TABLE_NAME WHEN 'jobs' THEN to_jsonb(NEW) ->> 'id'
                       ELSE to_jsonb(coalesce(NEW, OLD)) ->> 'job_id' END;
    said     text;
    has_rows boolean;
BEGIN
    SELECT outcome INTO said FROM jobs WHERE id = job;
    has_rows := EXISTS (SELECT FROM confirmed_causes WHERE job_id = job);
    IF said = 'confirmed' AND NOT has_rows THEN
        RAISE EXCEPTION 'no confirmed cause'
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_confirmed_names_cause';
    END IF;
    IF has_rows AND said IS DISTINCT FROM 'confirmed' THEN
        RAISE EXCEPTION 'a confirmed cause without that outcome'
            USING ERRCODE = 'check_violation', TABLE = 'confirmed_causes', CONSTRAINT = 'confirmed_causes_need_outcome';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER jobs_outcome_guard AFTER INSERT OR UPDATE ON jobs
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION jobs_outcome_guard();
CREATE CONSTRAINT TRIGGER confirmed_causes_outcome_guard AFTER INSERT OR UPDATE OR DELETE ON confirmed_causes
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION jobs_outcome_guard();

CREATE FUNCTION jobs_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (OLD.closed_at IS NOT NULL AND NEW.closed_at IS NOT NULL)
        OR (OLD.cancelled_at IS NOT NULL AND NEW.cancelled_at IS NOT NULL) THEN
        RAISE EXCEPTION 'job % is closed', NEW.id
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_closed_is_final';
    END IF;
    IF OLD.closed_at IS NOT NULL AND NEW.closed_at IS NULL
        AND EXISTS (SELECT FROM comebacks WHERE earlier_id = NEW.id) THEN
        RAISE EXCEPTION 'another job came back from it'
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_reopened_without_comeback';
    END IF;
    IF NEW.verdict_id IS DISTINCT FROM OLD.verdict_id
        AND EXISTS (SELECT FROM verdicts WHERE id = NEW.verdict_id AND decision = 'open')
        AND NOT EXISTS (SELECT FROM overrides WHERE verdict_id = NEW.verdict_id) THEN
        RAISE EXCEPTION 'the verdict is still open'
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_diagnosed_is_decided';
    END IF;
    IF NEW.repaired_at IS NOT NULL AND OLD.repaired_at IS NULL
        AND NOT EXISTS (SELECT FROM repairs WHERE job_id = NEW.id AND undone_at IS NULL) THEN
        RAISE EXCEPTION 'no repair is written down'
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_repaired_names_work';
    END IF;
    IF NEW.proved_at IS NOT NULL AND OLD.proved_at IS NULL AND NOT EXISTS (
        SELECT FROM proofs p JOIN standing_evidence e ON e.id = p.evidence_id
        WHERE p.job_id = NEW.id AND p.passed AND p.at >= NEW.repaired_at) THEN
        RAISE EXCEPTION 'no passed proof'
            USING ERRCODE = 'check_violation', TABLE = 'jobs', CONSTRAINT = 'jobs_proved_has_proof';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER jobs_guard BEFORE UPDATE ON jobs
    FOR EACH ROW EXECUTE FUNCTION jobs_guard();

-- A job that came back from an earlier one. Why it did is often known only
-- when the later job is closed.
CREATE TABLE comebacks (
    job_id     bigint PRIMARY KEY,
    earlier_id bigint NOT NULL,
    vehicle_id bigint NOT NULL,
    kind       text NOT NULL
               CONSTRAINT comebacks_kind_known CHECK (kind IN
                   ('not_known_yet', 'cause_missed', 'repair_failed', 'part_failed', 'unrelated')),
    words      text NOT NULL
               CONSTRAINT comebacks_words_short CHECK (length(words) <= 4000),
    at         timestamptz NOT NULL,
    by         bigint NOT NULL REFERENCES people,
    CONSTRAINT comebacks_not_itself CHECK (job_id <> earlier_id),
    CONSTRAINT comebacks_job_of_vehicle FOREIGN KEY (job_id, vehicle_id) REFERENCES jobs (id, vehicle_id),
    CONSTRAINT comebacks_same_vehicle FOREIGN KEY (earlier_id, vehicle_id) REFERENCES jobs (id, vehicle_id)
);
CREATE INDEX comebacks_earlier ON comebacks (earlier_id);
CREATE TRIGGER comebacks_announce AFTER INSERT OR UPDATE OR DELETE ON comebacks
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');
CREATE TRIGGER comebacks_announce_earlier AFTER INSERT OR UPDATE OR DELETE ON comebacks
    FOR EACH ROW EXECUTE FUNCTION announce_job('earlier_id');

CREATE FUNCTION comebacks_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM jobs j JOIN jobs e ON e.id = NEW.earlier_id WHERE j.id = NEW.job_id AND j.id <> e.id
        AND (e.closed_at IS NULL OR e.closed_at > j.opened_at)) THEN
        RAISE EXCEPTION 'the earlier job was not closed before'
            USING ERRCODE = 'check_violation', TABLE = 'comebacks', CONSTRAINT = 'comebacks_after_closing';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER comebacks_guard BEFORE INSERT OR UPDATE ON comebacks
    FOR EACH ROW EXECUTE FUNCTION comebacks_guard();
