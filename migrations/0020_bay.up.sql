-- Photos, already stripped of their metadata, with a thumbnail each.
CREATE TABLE photos (
    id          uuid PRIMARY KEY, -- made by the client
    job_id      bigint NOT NULL CONSTRAINT photos_of_job REFERENCES jobs,
    subject     text NOT NULL
                CONSTRAINT photos_subject_known CHECK (subject IN ('tip', 'connector', 'gasket', 'other')),
    moment      text NOT NULL
                CONSTRAINT photos_moment_known CHECK (moment IN ('', 'before', 'after')),
    bank        smallint NOT NULL
                CONSTRAINT photos_bank_range CHECK (bank BETWEEN 0 AND 2),
    position    smallint NOT NULL
                CONSTRAINT photos_position_range CHECK (position BETWEEN 0 AND 4),
    words       text NOT NULL
                CONSTRAINT photos_words_short CHECK (length(words) <= 2000),
    evidence_id uuid, -- the entry it shows
    is_entry    boolean GENERATED ALWAYS AS (CASE WHEN evidence_id IS NOT NULL THEN true END) STORED,
    media_type  text NOT NULL
                CONSTRAINT photos_media_type_known CHECK (media_type IN ('image/jpeg', 'image/png', 'image/webp')),
    width       integer NOT NULL,
    height      integer NOT NULL,
    sha256      bytea NOT NULL, -- of data
    data        bytea NOT NULL
                CONSTRAINT photos_data_size CHECK (length(data) BETWEEN 1 AND 12582912),
    thumb       bytea NOT NULL -- of the same media type
                CONSTRAINT photos_thumb_size CHECK (length(thumb) BETWEEN 1 AND 262144),
    client_at   timestamptz NOT NULL,
    at          timestamptz NOT NULL,
    by          bigint NOT NULL REFERENCES people,
    removed_at  timestamptz,
    removed_by  bigint REFERENCES people,
    removed_why text NOT NULL DEFAULT '',
    CONSTRAINT photos_position_has_bank CHECK (position = 0 OR bank > 0),
    CONSTRAINT photos_sha256_matches CHECK (sha256 = sha256(data)),
    CONSTRAINT photos_pixels_range CHECK (width BETWEEN 1 AND 10000 AND height BETWEEN 1 AND 10000),
    CONSTRAINT photos_removed_has_reason CHECK ((removed_at IS NOT NULL) = (removed_why ~ '\S')),
    CONSTRAINT photos_removed_by_someone CHECK ((removed_at IS NULL) = (removed_by IS NULL)),
    CONSTRAINT photos_of_entry FOREIGN KEY (evidence_id, job_id, is_entry) REFERENCES evidence (id, job_id, is_entry)
);
ALTER TABLE photos ALTER data SET STORAGE EXTERNAL, ALTER thumb SET STORAGE EXTERNAL;
CREATE INDEX photos_job ON photos (job_id);

CREATE FUNCTION photos_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' OR OLD.removed_at IS NOT NULL OR
        (NEW.id, NEW.job_id, NEW.subject, NEW.moment, NEW.bank, NEW.position, NEW.words, NEW.evidence_id, NEW.sha256, NEW.at, NEW."by")
            IS DISTINCT FROM
        (OLD.id, OLD.job_id, OLD.subject, OLD.moment, OLD.bank, OLD.position, OLD.words, OLD.evidence_id, OLD.sha256, OLD.at, OLD."by") THEN
        RAISE EXCEPTION 'a photo is only ever removed'
            USING ERRCODE = 'check_violation', TABLE = 'photos', CONSTRAINT = 'photos_append_only';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER photos_guard BEFORE UPDATE OR DELETE ON photos
    FOR EACH ROW EXECUTE FUNCTION photos_guard();
CREATE TRIGGER photos_job_open BEFORE INSERT ON photos
    FOR EACH ROW EXECUTE FUNCTION refuse_finished_job();
CREATE TRIGGER photos_announce AFTER INSERT OR UPDATE ON photos
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- Minutes really spent on a test: they feed the model of costs.
CREATE TABLE test_times (
    id        uuid PRIMARY KEY, -- made by the client
    job_id    bigint NOT NULL CONSTRAINT test_times_of_job REFERENCES jobs,
    test      text NOT NULL
              CONSTRAINT test_times_test_form CHECK (test ~ '^[a-z][a-z_0-9]*$'),
    bank      smallint NOT NULL
              CONSTRAINT test_times_bank_range CHECK (bank BETWEEN 0 AND 2),
    position  smallint NOT NULL
              CONSTRAINT test_times_position_range CHECK (position BETWEEN 0 AND 4),
    minutes   double precision NOT NULL
              CONSTRAINT test_times_minutes_range CHECK (minutes > 0 AND minutes <= 600),
    client_at timestamptz NOT NULL,
    at        timestamptz NOT NULL,
    by        bigint NOT NULL REFERENCES people
);
CREATE INDEX test_times_job ON test_times (job_id);
CREATE INDEX test_times_test ON test_times (test, at);
CREATE TRIGGER test_times_append_only BEFORE UPDATE OR DELETE ON test_times
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER test_times_guard BEFORE INSERT ON test_times
    FOR EACH ROW EXECUTE FUNCTION refuse_finished_job();
CREATE TRIGGER test_times_announce AFTER INSERT ON test_times
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- A test that cannot be done on this job, until someone says it can.
CREATE TABLE set_asides (
    id         uuid PRIMARY KEY, -- made by the client
    job_id     bigint NOT NULL CONSTRAINT set_asides_of_job REFERENCES jobs,
    test       text NOT NULL
               CONSTRAINT set_asides_test_form CHECK (test ~ '^[a-z][a-z_0-9]*$'),
    bank       smallint NOT NULL
               CONSTRAINT set_asides_bank_range CHECK (bank BETWEEN 0 AND 2),
    position   smallint NOT NULL
               CONSTRAINT set_asides_position_range CHECK (position BETWEEN 0 AND 4),
    why        text NOT NULL
               CONSTRAINT set_asides_why_present CHECK (why ~ '\S' AND length(why) <= 2000),
    client_at  timestamptz NOT NULL,
    at         timestamptz NOT NULL,
    by         bigint NOT NULL REFERENCES people,
    lifted_at  timestamptz,
    lifted_by  bigint REFERENCES people,
    CONSTRAINT set_asides_lifted_by_someone CHECK ((lifted_at IS NULL) = (lifted_by IS NULL))
);
CREATE INDEX set_asides_job ON set_asides (job_id);
CREATE UNIQUE INDEX set_asides_once ON set_asides (job_id, test, bank, position) WHERE lifted_at IS NULL;
CREATE TRIGGER set_asides_guard BEFORE INSERT OR UPDATE ON set_asides
    FOR EACH ROW EXECUTE FUNCTION refuse_finished_job();
CREATE TRIGGER set_asides_announce AFTER INSERT OR UPDATE ON set_asides
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- The maker's figures, entered by the shop, for a family of cars or for one
-- car without a family; bank and position 0 for what concerns the engine.
CREATE TABLE maker_data (
    id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    family      text NOT NULL DEFAULT ''
                CONSTRAINT maker_data_family_short CHECK (length(family) <= 80),
    vehicle_id  bigint REFERENCES vehicles,
    bank        smallint NOT NULL
                CONSTRAINT maker_data_bank_range CHECK (bank BETWEEN 0 AND 2),
    position    smallint NOT NULL
                CONSTRAINT maker_data_position_range CHECK (position BETWEEN 0 AND 4),
    torque_nm   double precision
                CONSTRAINT maker_data_torque_range CHECK (torque_nm > 0 AND torque_nm <= 200),
    thread      text NOT NULL DEFAULT ''
                CONSTRAINT maker_data_thread_short CHECK (length(thread) <= 40),
    socket_mm   double precision
                CONSTRAINT maker_data_socket_range CHECK (socket_mm > 0 AND socket_mm <= 60),
    ohm_low     double precision,
    ohm_high    double precision,
    kpa_low     double precision,
    kpa_high    double precision,
    words       text NOT NULL DEFAULT ''
                CONSTRAINT maker_data_words_short CHECK (length(words) <= 4000),
    source      text NOT NULL
                CONSTRAINT maker_data_source_present CHECK (source ~ '\S' AND length(source) <= 500),
    changed_at  timestamptz NOT NULL,
    changed_by  bigint NOT NULL REFERENCES people,
    CONSTRAINT maker_data_position_has_bank CHECK (position = 0 OR bank > 0),
    CONSTRAINT maker_data_family_or_vehicle CHECK ((family <> '') <> (vehicle_id IS NOT NULL)),
    CONSTRAINT maker_data_ohm_range CHECK ((ohm_low IS NULL) = (ohm_high IS NULL) AND ohm_low >= 0 AND ohm_high >= ohm_low AND ohm_high <= 10000),
    CONSTRAINT maker_data_kpa_range CHECK ((kpa_low IS NULL) = (kpa_high IS NULL) AND kpa_low >= 0 AND kpa_high >= kpa_low AND kpa_high <= 50000)
);
CREATE UNIQUE INDEX maker_data_once ON maker_data (family, coalesce(vehicle_id, 0), bank, position);

-- How tight the new sensor was made, where it was written down.
ALTER TABLE repairs ADD torque_nm double precision
    CONSTRAINT repairs_torque_range CHECK (torque_nm > 0 AND torque_nm <= 200);
