CREATE TABLE customers (
    id           bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name         text NOT NULL
                 CONSTRAINT customers_name_present CHECK (name ~ '\S' AND length(name) <= 200),
    phone        text NOT NULL DEFAULT ''
                 CONSTRAINT customers_phone_short CHECK (length(phone) <= 60),
    phone_digits text NOT NULL GENERATED ALWAYS AS (regexp_replace(phone, '[^0-9]', '', 'g')) STORED,
    email        text NOT NULL DEFAULT ''
                 CONSTRAINT customers_email_form CHECK (email ~ '^([^[:space:]@]+@[^[:space:]@]+)?$' AND length(email) <= 254),
    address      text NOT NULL DEFAULT '',
    language     text NOT NULL DEFAULT ''
                 CONSTRAINT customers_language_form CHECK (language ~ '^([A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*)?$'),
    note         text NOT NULL DEFAULT '',
    created_at   timestamptz NOT NULL,
    created_by   bigint NOT NULL REFERENCES people
);
CREATE INDEX customers_phone_digits ON customers (phone_digits) WHERE phone_digits <> '';

CREATE TABLE vehicles (
    id             bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    customer_id    bigint NOT NULL REFERENCES customers,
    plate          text NOT NULL DEFAULT ''
                   CONSTRAINT vehicles_plate_short CHECK (length(plate) <= 20),
    plate_key      text NOT NULL GENERATED ALWAYS AS (upper(regexp_replace(plate, '[^[:alnum:]]', '', 'g'))) STORED,
    -- ISO 3779 leaves out I, O and Q. Cars from before 1981 have shorter ones.
    vin            text NOT NULL DEFAULT ''
                   CONSTRAINT vehicles_vin_form CHECK (vin ~ '^([A-HJ-NPR-Z0-9]{5,17})?$'),
    make           text NOT NULL
                   CONSTRAINT vehicles_make_present CHECK (make ~ '\S' AND length(make) <= 80),
    model          text NOT NULL
                   CONSTRAINT vehicles_model_present CHECK (model ~ '\S' AND length(model) <= 80),
    model_year     smallint NOT NULL DEFAULT 0 -- 0 is unknown
                   CONSTRAINT vehicles_model_year_range CHECK (model_year = 0 OR model_year BETWEEN 1900 AND 2200),
    family         text NOT NULL DEFAULT '' -- cars that share engine and exhaust
                   CONSTRAINT vehicles_family_short CHECK (length(family) <= 80),
    cylinders      smallint NOT NULL
                   CONSTRAINT vehicles_cylinders_range CHECK (cylinders BETWEEN 1 AND 16),
    arrangement    text NOT NULL
                   CONSTRAINT vehicles_arrangement_known CHECK (arrangement IN ('inline', 'v', 'flat')),
    displacement_l double precision NOT NULL
                   CONSTRAINT vehicles_displacement_range CHECK (displacement_l > 0 AND displacement_l <= 20),
    fuel           text NOT NULL
                   CONSTRAINT vehicles_fuel_present CHECK (fuel ~ '\S'),
    air_metering   text NOT NULL
                   CONSTRAINT vehicles_air_metering_known CHECK (air_metering IN ('maf', 'map')),
    created_at     timestamptz NOT NULL,
    created_by     bigint NOT NULL REFERENCES people
);
CREATE INDEX vehicles_customer ON vehicles (customer_id);
CREATE INDEX vehicles_plate ON vehicles (plate_key) WHERE plate_key <> '';
CREATE UNIQUE INDEX vehicles_vin_once ON vehicles (vin) WHERE vin <> '';
CREATE INDEX vehicles_family ON vehicles (family) WHERE family <> '';

-- The sensor locations a car was built with. A sensor common to both banks is
-- kept under bank 1 and fills the place of bank 2 too.
CREATE TABLE vehicle_sensors (
    vehicle_id bigint NOT NULL REFERENCES vehicles,
    bank       smallint NOT NULL
               CONSTRAINT vehicle_sensors_bank_range CHECK (bank BETWEEN 1 AND 2),
    position   smallint NOT NULL
               CONSTRAINT vehicle_sensors_position_range CHECK (position BETWEEN 1 AND 4),
    kind       text NOT NULL
               CONSTRAINT vehicle_sensors_kind_known CHECK (kind IN ('zirconia', 'titania', 'wide_range')),
    wires      smallint NOT NULL,
    common     boolean NOT NULL DEFAULT false,
    connector  text NOT NULL DEFAULT ''
               CONSTRAINT vehicle_sensors_connector_short CHECK (length(connector) <= 200),
    PRIMARY KEY (vehicle_id, bank, position),
    CONSTRAINT vehicle_sensors_wires_fit_kind CHECK (CASE kind
        WHEN 'zirconia' THEN wires BETWEEN 1 AND 4
        WHEN 'titania' THEN wires BETWEEN 3 AND 4
        ELSE wires BETWEEN 4 AND 6 END),
    CONSTRAINT vehicle_sensors_common_is_bank_1 CHECK (bank = 1 OR NOT common),
    CONSTRAINT vehicle_sensors_one_per_place EXCLUDE USING gist (
        int8range(vehicle_id, vehicle_id, '[]') WITH &&,
        int4range(position, position, '[]') WITH &&,
        int4range(bank, CASE WHEN common THEN 2 ELSE bank END, '[]') WITH &&)
);

-- Starting points for a car that the shop sees for the first time.
CREATE TABLE layouts (
    id   bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name text NOT NULL
         CONSTRAINT layouts_name_present CHECK (name ~ '\S' AND length(name) <= 120)
         CONSTRAINT layouts_name_once UNIQUE
);
CREATE TABLE layout_sensors (
    layout_id bigint NOT NULL REFERENCES layouts ON DELETE CASCADE,
    bank      smallint NOT NULL
              CONSTRAINT layout_sensors_bank_range CHECK (bank BETWEEN 1 AND 2),
    position  smallint NOT NULL
              CONSTRAINT layout_sensors_position_range CHECK (position BETWEEN 1 AND 4),
    kind      text NOT NULL
              CONSTRAINT layout_sensors_kind_known CHECK (kind IN ('zirconia', 'titania', 'wide_range')),
    wires     smallint NOT NULL,
    common    boolean NOT NULL DEFAULT false,
    PRIMARY KEY (layout_id, bank, position),
    CONSTRAINT layout_sensors_wires_fit_kind CHECK (CASE kind
        WHEN 'zirconia' THEN wires BETWEEN 1 AND 4
        WHEN 'titania' THEN wires BETWEEN 3 AND 4
        ELSE wires BETWEEN 4 AND 6 END),
    CONSTRAINT layout_sensors_common_is_bank_1 CHECK (bank = 1 OR NOT common),
    CONSTRAINT layout_sensors_one_per_place EXCLUDE USING gist (
        int8range(layout_id, layout_id, '[]') WITH &&,
        int4range(position, position, '[]') WITH &&,
        int4range(bank, CASE WHEN common THEN 2 ELSE bank END, '[]') WITH &&)
);

WITH named (name, sensors) AS (VALUES
    ('One sensor', '[[1,1,"zirconia",4,false]]'::jsonb),
    ('One bank, up- and downstream', '[[1,1,"zirconia",4,false],[1,2,"zirconia",4,false]]'),
    ('One bank, wide-range upstream', '[[1,1,"wide_range",5,false],[1,2,"zirconia",4,false]]'),
    ('One bank, three in line', '[[1,1,"wide_range",5,false],[1,2,"zirconia",4,false],[1,3,"zirconia",4,false]]'),
    ('Two upstream, one common downstream', '[[1,1,"zirconia",4,false],[2,1,"zirconia",4,false],[1,2,"zirconia",4,true]]'),
    ('Two banks, up- and downstream', '[[1,1,"zirconia",4,false],[1,2,"zirconia",4,false],[2,1,"zirconia",4,false],[2,2,"zirconia",4,false]]'),
    ('Two banks, wide-range upstream', '[[1,1,"wide_range",5,false],[1,2,"zirconia",4,false],[2,1,"wide_range",5,false],[2,2,"zirconia",4,false]]'),
    ('Two banks, a third on bank 1', '[[1,1,"zirconia",4,false],[1,2,"zirconia",4,false],[1,3,"zirconia",4,false],[2,1,"zirconia",4,false],[2,2,"zirconia",4,false]]'),
    ('Two banks, three on each', '[[1,1,"wide_range",5,false],[1,2,"zirconia",4,false],[1,3,"zirconia",4,false],[2,1,"wide_range",5,false],[2,2,"zirconia",4,false],[2,3,"zirconia",4,false]]')
), made AS (
    INSERT INTO layouts (name) SELECT name FROM named RETURNING id, name
)
INSERT INTO layout_sensors
SELECT made.id, (s->>0)::smallint, (s->>1)::smallint, s->>2, (s->>3)::smallint, (s->>4)::boolean
FROM made JOIN named USING (name), jsonb_array_elements(sensors) s;
