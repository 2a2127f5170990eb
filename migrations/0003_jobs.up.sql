-- Every change to a job is announced when it commits, for pages that follow it.
CREATE FUNCTION announce_job() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        PERFORM pg_notify('crosscount_job', to_jsonb(OLD) ->> TG_ARGV[0]);
    ELSE
        PERFORM pg_notify('crosscount_job', to_jsonb(NEW) ->> TG_ARGV[0]);
    END IF;
    RETURN NULL;
END $$;

-- The id is the number people read out to each other.
CREATE TABLE jobs (
    id            bigint GENERATED ALWAYS AS IDENTITY (START 1001) PRIMARY KEY,
    intake_id     uuid NOT NULL
                  CONSTRAINT jobs_intake_once UNIQUE, -- made by the form: sent twice, taken once
    vehicle_id    bigint NOT NULL REFERENCES vehicles,
    customer_id   bigint NOT NULL REFERENCES customers,
    concern       text NOT NULL
                  CONSTRAINT jobs_concern_present CHECK (concern ~ '\S' AND length(concern) <= 4000),
    odometer      integer
                  CONSTRAINT jobs_odometer_range CHECK (odometer BETWEEN 0 AND 3000000),
    odometer_unit text NOT NULL
                  CONSTRAINT jobs_odometer_unit_known CHECK (odometer_unit IN ('km', 'mi')),
    odometer_km   integer GENERATED ALWAYS AS
                  (round(odometer * CASE odometer_unit WHEN 'mi' THEN 1.609344 ELSE 1 END)::integer) STORED,
    technician_id bigint REFERENCES people,
    opened_at     timestamptz NOT NULL,
    opened_by     bigint NOT NULL REFERENCES people,
    diagnosed_at  timestamptz, -- a verdict was accepted
    approved_at   timestamptz, -- the customer said yes to the repair
    repaired_at   timestamptz,
    proved_at     timestamptz,
    closed_at     timestamptz,
    closed_by     bigint REFERENCES people,
    outcome       text
                  CONSTRAINT jobs_outcome_known CHECK (outcome IN ('confirmed', 'not_found', 'nothing_wrong', 'declined')),
    unproved_why  text NOT NULL DEFAULT '', -- why a repair left without proof
    cancelled_at  timestamptz,
    cancelled_by  bigint REFERENCES people,
    cancelled_why text NOT NULL DEFAULT '',

    CONSTRAINT jobs_of_vehicle UNIQUE (id, vehicle_id),
    CONSTRAINT jobs_diagnosed_after_opening CHECK (diagnosed_at >= opened_at),
    CONSTRAINT jobs_approved_after_verdict CHECK (approved_at IS NULL OR (diagnosed_at IS NOT NULL AND approved_at >= diagnosed_at)),
    CONSTRAINT jobs_repaired_after_approval CHECK (repaired_at IS NULL OR (approved_at IS NOT NULL AND repaired_at >= approved_at)),
    CONSTRAINT jobs_proved_after_repair CHECK (proved_at IS NULL OR (repaired_at IS NOT NULL AND proved_at >= repaired_at)),
    CONSTRAINT jobs_closed_after_verdict CHECK (closed_at IS NULL OR (diagnosed_at IS NOT NULL
        AND closed_at >= greatest(diagnosed_at, approved_at, repaired_at, proved_at))),
    CONSTRAINT jobs_closed_has_outcome CHECK ((closed_at IS NULL) = (outcome IS NULL)),
    CONSTRAINT jobs_closed_by_someone CHECK ((closed_at IS NULL) = (closed_by IS NULL)),
    CONSTRAINT jobs_closed_repair_is_proved CHECK (closed_at IS NULL OR repaired_at IS NULL
        OR proved_at IS NOT NULL OR unproved_why ~ '\S'),
    CONSTRAINT jobs_closed_work_is_finished CHECK (closed_at IS NULL OR approved_at IS NULL
        OR repaired_at IS NOT NULL OR outcome = 'declined'),
    CONSTRAINT jobs_cancelled_has_reason CHECK ((cancelled_at IS NOT NULL) = (cancelled_why ~ '\S')),
    CONSTRAINT jobs_cancelled_by_someone CHECK ((cancelled_at IS NULL) = (cancelled_by IS NULL)),
    CONSTRAINT jobs_closed_or_cancelled CHECK (closed_at IS NULL OR cancelled_at IS NULL)
);
CREATE INDEX jobs_open ON jobs (id) WHERE closed_at IS NULL AND cancelled_at IS NULL;
CREATE INDEX jobs_vehicle ON jobs (vehicle_id, opened_at);
CREATE INDEX jobs_customer ON jobs (customer_id);
CREATE INDEX jobs_closed ON jobs (closed_at, id) WHERE closed_at IS NOT NULL;
CREATE TRIGGER jobs_announce AFTER INSERT OR UPDATE OR DELETE ON jobs
    FOR EACH ROW EXECUTE FUNCTION announce_job('id');

CREATE FUNCTION job_is_open(job bigint) RETURNS boolean LANGUAGE plpgsql AS $$
DECLARE
    is_open boolean;
BEGIN
    -- The share lock makes a closing wait for entries under way, and the reverse.
    SELECT closed_at IS NULL AND cancelled_at IS NULL INTO is_open FROM jobs WHERE id = job FOR SHARE;
    RETURN coalesce(is_open, true); -- no such job: the foreign key says so
END $$;

-- Who did what to the job, in words; a note is one of them.
CREATE TABLE job_log (
    id     bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id bigint NOT NULL CONSTRAINT job_log_of_job REFERENCES jobs,
    at     timestamptz NOT NULL,
    by     bigint NOT NULL REFERENCES people,
    what   text NOT NULL
           CONSTRAINT job_log_what_form CHECK (what ~ '^[a-z][a-z_]*$'),
    words  text NOT NULL
           CONSTRAINT job_log_words_short CHECK (length(words) <= 8000),
    CONSTRAINT job_log_note_has_words CHECK (what <> 'note' OR words ~ '\S')
);
CREATE INDEX job_log_job ON job_log (job_id, id);
CREATE TRIGGER job_log_append_only BEFORE UPDATE OR DELETE ON job_log
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER job_log_announce AFTER INSERT ON job_log
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- The evidence log. A row is an entry, or withdraws an earlier entry of the
-- same job; bank and position 0 stand for the whole engine or bank.
CREATE TABLE evidence (
    id              uuid PRIMARY KEY, -- made by the client
    seq             bigint GENERATED ALWAYS AS IDENTITY,
    job_id          bigint NOT NULL CONSTRAINT evidence_of_job REFERENCES jobs,
    body            jsonb
                    CONSTRAINT evidence_body_form CHECK (jsonb_typeof(body) = 'object' AND length(body::text) <= 20000),
    kind            text GENERATED ALWAYS AS (body ->> 'kind') STORED
                    CONSTRAINT evidence_kind_form CHECK (kind ~ '^[a-z][a-z_]*$'),
    bank            smallint NOT NULL GENERATED ALWAYS AS (coalesce((body ->> 'bank')::smallint, 0)) STORED
                    CONSTRAINT evidence_bank_range CHECK (bank BETWEEN 0 AND 2),
    position        smallint NOT NULL GENERATED ALWAYS AS (coalesce((body ->> 'position')::smallint, 0)) STORED
                    CONSTRAINT evidence_position_range CHECK (position BETWEEN 0 AND 4),
    code            text GENERATED ALWAYS AS (body ->> 'code') STORED,
    source          text NOT NULL
                    CONSTRAINT evidence_source_known CHECK (source IN ('told', 'observed', 'measured')),
    withdraws       uuid
                    CONSTRAINT evidence_withdrawn_once UNIQUE,
    withdraws_entry boolean GENERATED ALWAYS AS (CASE WHEN withdraws IS NOT NULL THEN true END) STORED,
    is_entry        boolean NOT NULL GENERATED ALWAYS AS (body IS NOT NULL) STORED,
    reason          text NOT NULL DEFAULT ''
                    CONSTRAINT evidence_reason_short CHECK (length(reason) <= 2000),
    entered_by      bigint NOT NULL REFERENCES people,
    client_at       timestamptz NOT NULL, -- by the client's clock, which may be wrong
    received_at     timestamptz NOT NULL,
    CONSTRAINT evidence_entry_or_withdrawal CHECK ((body IS NULL) = (withdraws IS NOT NULL)),
    CONSTRAINT evidence_entry_has_kind CHECK (body IS NULL OR kind IS NOT NULL),
    CONSTRAINT evidence_position_has_bank CHECK (position = 0 OR bank > 0),
    CONSTRAINT evidence_withdrawal_has_reason CHECK (withdraws IS NULL OR reason ~ '\S'),
    CONSTRAINT evidence_standing_key UNIQUE (id, job_id, is_entry),
    CONSTRAINT evidence_withdraws_entry_of_job FOREIGN KEY (withdraws, job_id, withdraws_entry)
        REFERENCES evidence (id, job_id, is_entry)
);
CREATE INDEX evidence_job ON evidence (job_id, seq);
CREATE INDEX evidence_code ON evidence (code, job_id) WHERE code IS NOT NULL;
CREATE TRIGGER evidence_append_only BEFORE UPDATE OR DELETE ON evidence
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER evidence_append_only_truncate BEFORE TRUNCATE ON evidence
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER evidence_announce AFTER INSERT ON evidence
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

CREATE FUNCTION evidence_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT job_is_open(NEW.job_id) THEN
        RAISE EXCEPTION 'job % is closed', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = 'evidence', CONSTRAINT = 'evidence_job_is_open';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER evidence_guard BEFORE INSERT ON evidence
    FOR EACH ROW EXECUTE FUNCTION evidence_guard();

-- Entries that nothing has withdrawn.
CREATE VIEW standing_evidence AS
    SELECT e.* FROM evidence e
    WHERE e.is_entry AND NOT EXISTS (SELECT FROM evidence w WHERE w.withdraws = e.id);
