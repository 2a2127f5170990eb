-- Rows of an append-only table are corrected by later rows.
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only', TG_TABLE_NAME
        USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME,
              CONSTRAINT = TG_TABLE_NAME || '_append_only';
END $$;

CREATE TABLE people (
    id            bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name          text NOT NULL
                  CONSTRAINT people_name_present CHECK (name ~ '\S' AND length(name) <= 200),
    login         text NOT NULL
                  CONSTRAINT people_login_once UNIQUE
                  CONSTRAINT people_login_form CHECK (login !~ '[A-Z[:space:]]' AND length(login) BETWEEN 2 AND 60),
    role          text NOT NULL
                  CONSTRAINT people_role_known CHECK (role IN ('writer', 'technician', 'owner')),
    password_hash text
                  CONSTRAINT people_password_hash_form CHECK (password_hash ~ '^\$[a-z0-9-]+\$.+'),
    active        boolean NOT NULL DEFAULT true,
    created_at    timestamptz NOT NULL,
    created_by    bigint REFERENCES people
);

-- Two owners who retire each other at the same moment must not both succeed.
CREATE FUNCTION people_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.role = 'owner' AND OLD.active THEN
        PERFORM pg_advisory_xact_lock(hashtext('people_an_owner_stays'));
        IF NOT EXISTS (SELECT FROM people WHERE role = 'owner' AND active) THEN
            RAISE EXCEPTION 'the last active owner cannot go'
                USING ERRCODE = 'check_violation', TABLE = 'people', CONSTRAINT = 'people_an_owner_stays';
        END IF;
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER people_guard AFTER UPDATE OR DELETE ON people
    FOR EACH ROW EXECUTE FUNCTION people_guard();

CREATE TABLE shop (
    id                    smallint PRIMARY KEY DEFAULT 1
                          CONSTRAINT shop_is_one CHECK (id = 1),
    name                  text NOT NULL
                          CONSTRAINT shop_name_present CHECK (name ~ '\S' AND length(name) <= 200),
    address               text NOT NULL,
    phone                 text NOT NULL,
    labour_per_hour_minor bigint NOT NULL
                          CONSTRAINT shop_labour_range CHECK (labour_per_hour_minor BETWEEN 0 AND 1000000000),
    currency              text NOT NULL
                          CONSTRAINT shop_currency_form CHECK (currency ~ '^[A-Z]{3}$'),
    locale                text NOT NULL
                          CONSTRAINT shop_locale_form CHECK (locale ~ '^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$'),
    time_zone             text NOT NULL
                          CONSTRAINT shop_time_zone_present CHECK (time_zone ~ '\S'),
    distance_unit         text NOT NULL
                          CONSTRAINT shop_distance_unit_known CHECK (distance_unit IN ('km', 'mi')),
    temperature_unit      text NOT NULL
                          CONSTRAINT shop_temperature_unit_known CHECK (temperature_unit IN ('c', 'f')),
    pressure_unit         text NOT NULL
                          CONSTRAINT shop_pressure_unit_known CHECK (pressure_unit IN ('kpa', 'psi')),
    paper                 text NOT NULL
                          CONSTRAINT shop_paper_known CHECK (paper IN ('a4', 'letter')),
    comeback_days         integer NOT NULL
                          CONSTRAINT shop_comeback_days_range CHECK (comeback_days BETWEEN 1 AND 3650),
    cautions              text NOT NULL,
    changed_at            timestamptz NOT NULL,
    changed_by            bigint REFERENCES people
);

CREATE TABLE sessions (
    id          text PRIMARY KEY,
    secret_hash bytea NOT NULL
                CONSTRAINT sessions_secret_is_hashed CHECK (length(secret_hash) = 32),
    person_id   bigint NOT NULL REFERENCES people,
    created_at  timestamptz NOT NULL,
    seen_at     timestamptz NOT NULL,
    expires_at  timestamptz NOT NULL
                CONSTRAINT sessions_expire_later CHECK (expires_at > created_at),
    user_agent  text NOT NULL,
    address     text NOT NULL
);
CREATE INDEX sessions_person ON sessions (person_id);
CREATE INDEX sessions_expires ON sessions (expires_at);

-- A link that works once: it makes the first owner, or lets a person choose a
-- new password.
CREATE TABLE one_time_links (
    id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    purpose    text NOT NULL
               CONSTRAINT one_time_links_purpose_known CHECK (purpose IN ('first_owner', 'password')),
    token_hash bytea NOT NULL
               CONSTRAINT one_time_links_token_is_hashed CHECK (length(token_hash) = 32)
               CONSTRAINT one_time_links_token_once UNIQUE,
    person_id  bigint REFERENCES people,
    created_at timestamptz NOT NULL,
    created_by bigint REFERENCES people,
    expires_at timestamptz NOT NULL
               CONSTRAINT one_time_links_expire_later CHECK (expires_at > created_at),
    used_at    timestamptz
               CONSTRAINT one_time_links_used_in_time CHECK (used_at BETWEEN created_at AND expires_at),
    CONSTRAINT one_time_links_person_fits CHECK ((purpose = 'password') = (person_id IS NOT NULL))
);

CREATE TABLE login_attempts (
    login   text NOT NULL,
    address text NOT NULL,
    at      timestamptz NOT NULL,
    ok      boolean NOT NULL
);
CREATE INDEX login_attempts_login ON login_attempts (login, at);
CREATE INDEX login_attempts_address ON login_attempts (address, at);
CREATE INDEX login_attempts_at ON login_attempts (at);
