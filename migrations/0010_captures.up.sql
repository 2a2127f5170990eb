-- A row that belongs to a job is taken only while the job is open.
CREATE FUNCTION refuse_finished_job() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT job_is_open(NEW.job_id) THEN
        RAISE EXCEPTION 'job % is closed', NEW.job_id
            USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME, CONSTRAINT = TG_TABLE_NAME || '_job_is_open';
    END IF;
    RETURN NEW;
END $$;

-- Original files, kept as they came, in chunks of 512 KiB.
CREATE TABLE files (
    id         uuid PRIMARY KEY, -- made by the client
    job_id     bigint NOT NULL CONSTRAINT files_of_job REFERENCES jobs,
    name       text NOT NULL
               CONSTRAINT files_name_present CHECK (name ~ '\S' AND length(name) <= 255),
    media_type text NOT NULL
               CONSTRAINT files_media_type_form CHECK (media_type ~ '^[[:alnum:].+-]+/[[:alnum:].+-]+' AND length(media_type) <= 200),
    size       bigint NOT NULL
               CONSTRAINT files_size_range CHECK (size BETWEEN 1 AND 209715200),
    sha256     bytea NOT NULL
               CONSTRAINT files_sha256_form CHECK (length(sha256) = 32),
    at         timestamptz NOT NULL,
    by         bigint NOT NULL REFERENCES people,
    CONSTRAINT files_key UNIQUE (id, job_id),
    CONSTRAINT files_content_once UNIQUE (job_id, sha256)
);
CREATE TRIGGER files_append_only BEFORE UPDATE OR DELETE ON files
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER files_guard BEFORE INSERT ON files
    FOR EACH ROW EXECUTE FUNCTION refuse_finished_job();

CREATE TABLE file_chunks (
    file_id uuid NOT NULL REFERENCES files DEFERRABLE INITIALLY DEFERRED, -- the file is known when its end is
    n       integer NOT NULL CONSTRAINT file_chunks_n_range CHECK (n >= 0),
    data    bytea NOT NULL CONSTRAINT file_chunks_data_size CHECK (length(data) BETWEEN 1 AND 524288),
    PRIMARY KEY (file_id, n)
);
ALTER TABLE file_chunks ALTER data SET STORAGE EXTERNAL;
CREATE TRIGGER file_chunks_append_only BEFORE UPDATE OR DELETE ON file_chunks
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- How columns and units of a file are to be read, under a name for next time.
CREATE TABLE mappings (
    name    text PRIMARY KEY
            CONSTRAINT mappings_name_present CHECK (name ~ '\S' AND length(name) <= 120),
    mapping jsonb NOT NULL
            CONSTRAINT mappings_mapping_form CHECK (jsonb_typeof(mapping) = 'object' AND length(mapping::text) <= 20000),
    at      timestamptz NOT NULL,
    by      bigint NOT NULL REFERENCES people
);

-- A file as it was read and measured. Reading it again is another capture,
-- which replaces the first.
CREATE TABLE captures (
    id           uuid PRIMARY KEY, -- made by the client
    job_id       bigint NOT NULL,
    file_id      uuid NOT NULL,
    kind         text NOT NULL
                 CONSTRAINT captures_kind_known CHECK (kind IN ('signal', 'log', 'responses', 'gas')),
    mapping      jsonb NOT NULL
                 CONSTRAINT captures_mapping_form CHECK (jsonb_typeof(mapping) = 'object' AND length(mapping::text) <= 20000),
    measurements jsonb NOT NULL
                 CONSTRAINT captures_measurements_form CHECK (jsonb_typeof(measurements) IN ('object', 'array') AND length(measurements::text) <= 1000000),
    program      text NOT NULL -- what measured it, with its version
                 CONSTRAINT captures_program_present CHECK (program ~ '\S'),
    picture      text NOT NULL -- SVG, or empty
                 CONSTRAINT captures_picture_size CHECK (length(picture) <= 500000),
    words        text NOT NULL
                 CONSTRAINT captures_words_short CHECK (length(words) <= 2000),
    replaces     uuid
                 CONSTRAINT captures_replaced_once UNIQUE,
    at           timestamptz NOT NULL,
    by           bigint NOT NULL REFERENCES people,
    CONSTRAINT captures_key UNIQUE (id, job_id),
    CONSTRAINT captures_not_itself CHECK (replaces <> id),
    CONSTRAINT captures_file_of_job FOREIGN KEY (file_id, job_id) REFERENCES files (id, job_id),
    CONSTRAINT captures_replace_one_of_job FOREIGN KEY (replaces, job_id) REFERENCES captures (id, job_id)
);
CREATE INDEX captures_job ON captures (job_id);
CREATE INDEX captures_file ON captures (file_id);
CREATE TRIGGER captures_append_only BEFORE UPDATE OR DELETE ON captures
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER captures_guard BEFORE INSERT ON captures
    FOR EACH ROW EXECUTE FUNCTION refuse_finished_job();
CREATE TRIGGER captures_announce AFTER INSERT ON captures
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- The entries that a capture gave rise to.
CREATE TABLE capture_entries (
    capture_id  uuid NOT NULL,
    job_id      bigint NOT NULL,
    evidence_id uuid NOT NULL
                CONSTRAINT capture_entries_once UNIQUE,
    is_entry    boolean NOT NULL GENERATED ALWAYS AS (true) STORED,
    PRIMARY KEY (capture_id, evidence_id),
    CONSTRAINT capture_entries_of_capture FOREIGN KEY (capture_id, job_id) REFERENCES captures (id, job_id),
    CONSTRAINT capture_entries_of_entry FOREIGN KEY (evidence_id, job_id, is_entry) REFERENCES evidence (id, job_id, is_entry)
);
CREATE TRIGGER capture_entries_append_only BEFORE UPDATE OR DELETE ON capture_entries
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
