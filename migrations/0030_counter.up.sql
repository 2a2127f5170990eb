-- Money is in minor units of one currency per job.
CREATE TABLE accounts (
    job_id   bigint PRIMARY KEY CONSTRAINT accounts_of_job REFERENCES jobs,
    currency text NOT NULL
             CONSTRAINT accounts_currency_form CHECK (currency ~ '^[A-Z]{3}$'),
    CONSTRAINT accounts_key UNIQUE (job_id, currency)
);

CREATE TABLE tax_rates (
    id     bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name   text NOT NULL
           CONSTRAINT tax_rates_name_present CHECK (name ~ '\S' AND length(name) <= 80)
           CONSTRAINT tax_rates_name_once UNIQUE,
    ppm    integer NOT NULL -- millionths: 72500 is 7.25 %
           CONSTRAINT tax_rates_ppm_range CHECK (ppm BETWEEN 0 AND 1000000),
    active boolean NOT NULL DEFAULT true
);

-- What the customer said yes to: the whole of the diagnosis or of the repair
-- up to a limit, tax included. The latest of each scope is in force.
CREATE TABLE authorisations (
    id          uuid PRIMARY KEY, -- made by the client
    seq         bigint GENERATED ALWAYS AS IDENTITY,
    job_id      bigint NOT NULL,
    currency    text NOT NULL,
    scope       text NOT NULL
                CONSTRAINT authorisations_scope_known CHECK (scope IN ('diagnosis', 'repair')),
    limit_minor bigint NOT NULL
                CONSTRAINT authorisations_limit_range CHECK (limit_minor BETWEEN 0 AND 100000000000),
    who         text NOT NULL
                CONSTRAINT authorisations_who_present CHECK (who ~ '\S' AND length(who) <= 200),
    how         text NOT NULL
                CONSTRAINT authorisations_how_known CHECK (how IN ('in_person', 'telephone', 'message', 'email', 'signature')),
    said_at     timestamptz NOT NULL,
    words       text NOT NULL
                CONSTRAINT authorisations_words_short CHECK (length(words) <= 4000),
    promise     jsonb -- what the customer was told: minutes and money, expected and at 90 %
                CONSTRAINT authorisations_promise_form CHECK (jsonb_typeof(promise) = 'object' AND length(promise::text) <= 10000),
    at          timestamptz NOT NULL,
    by          bigint NOT NULL REFERENCES people,
    CONSTRAINT authorisations_said_before CHECK (said_at <= at + interval '5 minutes'),
    CONSTRAINT authorisations_in_currency FOREIGN KEY (job_id, currency) REFERENCES accounts (job_id, currency)
);
CREATE INDEX authorisations_job ON authorisations (job_id, seq);
CREATE TRIGGER authorisations_append_only BEFORE UPDATE OR DELETE ON authorisations
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER authorisations_announce AFTER INSERT ON authorisations
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- Estimates and invoices as they were handed out, numbered without gaps.
CREATE TABLE document_counters (
    kind text PRIMARY KEY,
    last bigint NOT NULL
);
INSERT INTO document_counters VALUES ('estimate', 0), ('invoice', 0);

CREATE TABLE documents (
    id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id      bigint NOT NULL,
    currency    text NOT NULL,
    kind        text NOT NULL
                CONSTRAINT documents_kind_known CHECK (kind IN ('estimate', 'invoice')),
    number      bigint NOT NULL,
    net_minor   bigint NOT NULL,
    tax_minor   bigint NOT NULL,
    total_minor bigint NOT NULL GENERATED ALWAYS AS (net_minor + tax_minor) STORED
                CONSTRAINT documents_total_range CHECK (total_minor >= 0),
    body        jsonb NOT NULL -- all that stands on the paper
                CONSTRAINT documents_body_form CHECK (jsonb_typeof(body) = 'object' AND length(body::text) <= 1000000),
    at          timestamptz NOT NULL,
    by          bigint NOT NULL REFERENCES people,
    voided_at   timestamptz,
    voided_by   bigint REFERENCES people,
    voided_why  text NOT NULL DEFAULT '',
    CONSTRAINT documents_number_once UNIQUE (kind, number),
    CONSTRAINT documents_key UNIQUE (id, job_id, currency),
    CONSTRAINT documents_voided_has_reason CHECK ((voided_at IS NOT NULL) = (voided_why ~ '\S')),
    CONSTRAINT documents_voided_by_someone CHECK ((voided_at IS NULL) = (voided_by IS NULL)),
    CONSTRAINT documents_in_currency FOREIGN KEY (job_id, currency) REFERENCES accounts (job_id, currency)
);
CREATE INDEX documents_job ON documents (job_id);
CREATE TRIGGER documents_announce AFTER INSERT OR UPDATE ON documents
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- The lines of estimate and invoice. Amounts and tax are rounded line by line,
-- half away from zero.
CREATE TABLE lines (
    id           bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id       bigint NOT NULL,
    currency     text NOT NULL,
    scope        text NOT NULL
                 CONSTRAINT lines_scope_known CHECK (scope IN ('diagnosis', 'repair')),
    kind         text NOT NULL
                 CONSTRAINT lines_kind_known CHECK (kind IN ('labour', 'part', 'fee', 'discount')),
    words        text NOT NULL
                 CONSTRAINT lines_words_present CHECK (words ~ '\S' AND length(words) <= 500),
    quantity     numeric(10, 3) NOT NULL -- hours of labour, pieces
                 CONSTRAINT lines_quantity_range CHECK (quantity > 0),
    unit_minor   bigint NOT NULL,
    amount_minor bigint NOT NULL GENERATED ALWAYS AS (round(quantity * unit_minor)::bigint) STORED,
    tax_ppm      integer NOT NULL
                 CONSTRAINT lines_tax_range CHECK (tax_ppm BETWEEN 0 AND 1000000),
    tax_minor    bigint NOT NULL GENERATED ALWAYS AS
                 (round(round(quantity * unit_minor) * tax_ppm / 1000000)::bigint) STORED,
    cause        text NOT NULL DEFAULT '' -- what it mends
                 CONSTRAINT lines_cause_form CHECK (cause ~ '^([a-z][a-z_]*)?$'),
    test         text NOT NULL DEFAULT '' -- what it pays for
                 CONSTRAINT lines_test_form CHECK (test ~ '^([a-z][a-z_0-9]*)?$'),
    bank         smallint NOT NULL DEFAULT 0
                 CONSTRAINT lines_bank_range CHECK (bank BETWEEN 0 AND 2),
    position     smallint NOT NULL DEFAULT 0
                 CONSTRAINT lines_position_range CHECK (position BETWEEN 0 AND 4),
    sensor_kind  text NOT NULL DEFAULT ''
                 CONSTRAINT lines_sensor_kind_known CHECK (sensor_kind IN ('', 'zirconia', 'titania', 'wide_range')),
    wires        smallint NOT NULL DEFAULT 0 -- 0 is not said
                 CONSTRAINT lines_wires_range CHECK (wires BETWEEN 0 AND 6),
    connector    text NOT NULL DEFAULT ''
                 CONSTRAINT lines_connector_short CHECK (length(connector) <= 200),
    part_number  text NOT NULL DEFAULT ''
                 CONSTRAINT lines_part_number_short CHECK (length(part_number) <= 100),
    supplier     text NOT NULL DEFAULT ''
                 CONSTRAINT lines_supplier_short CHECK (length(supplier) <= 200),
    core_minor   bigint NOT NULL DEFAULT 0 -- deposit on the old part, apart from the amount
                 CONSTRAINT lines_core_range CHECK (core_minor BETWEEN 0 AND 100000000000),
    status       text NOT NULL DEFAULT 'offered'
                 CONSTRAINT lines_status_known CHECK (status IN ('offered', 'accepted', 'declined', 'done')),
    declined_at  timestamptz,
    declined_by  bigint REFERENCES people,
    consequence  text NOT NULL DEFAULT '' -- of declining, as said to the customer
                 CONSTRAINT lines_consequence_short CHECK (length(consequence) <= 2000),
    invoice_id   bigint,
    at           timestamptz NOT NULL,
    by           bigint NOT NULL REFERENCES people,
    CONSTRAINT lines_unit_range CHECK (abs(unit_minor) <= 100000000000),
    CONSTRAINT lines_discount_is_negative CHECK (CASE kind WHEN 'discount' THEN unit_minor <= 0 ELSE unit_minor >= 0 END),
    CONSTRAINT lines_position_has_bank CHECK (position = 0 OR bank > 0),
    CONSTRAINT lines_sensor_has_place CHECK ((sensor_kind <> '') = (kind = 'part' AND position > 0)),
    CONSTRAINT lines_declined_has_consequence CHECK ((status = 'declined') = (declined_at IS NOT NULL)
        AND (status <> 'declined' OR consequence ~ '\S')),
    CONSTRAINT lines_declined_by_someone CHECK ((declined_at IS NULL) = (declined_by IS NULL)),
    CONSTRAINT lines_invoiced_is_done CHECK (invoice_id IS NULL OR status = 'done'),
    CONSTRAINT lines_in_currency FOREIGN KEY (job_id, currency) REFERENCES accounts (job_id, currency),
    CONSTRAINT lines_invoice_of_job FOREIGN KEY (invoice_id, job_id, currency) REFERENCES documents (id, job_id, currency)
);
CREATE INDEX lines_job ON lines (job_id, id);
CREATE INDEX lines_part_number ON lines (part_number) WHERE part_number <> '';
CREATE TRIGGER lines_announce AFTER INSERT OR UPDATE OR DELETE ON lines
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

-- What is done of a scope, tax included.
CREATE FUNCTION done_minor(job bigint, in_scope text) RETURNS bigint LANGUAGE sql STABLE AS $$
    SELECT coalesce(sum(amount_minor + tax_minor), 0)::bigint FROM lines
    WHERE job_id = job AND scope = in_scope AND status = 'done'
$$;

-- A generated column is not computed yet when a trigger runs before its row.
CREATE FUNCTION lines_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'INSERT' AND OLD.invoice_id IS NOT NULL AND (TG_OP = 'DELETE'
        OR (to_jsonb(NEW) - '{invoice_id,amount_minor,tax_minor}'::text[] <> to_jsonb(OLD) - '{invoice_id,amount_minor,tax_minor}'::text[])
        OR NOT EXISTS (SELECT FROM documents WHERE id = OLD.invoice_id AND voided_at IS NOT NULL)) THEN
        RAISE EXCEPTION 'the line is on an invoice'
            USING ERRCODE = 'check_violation', TABLE = 'lines', CONSTRAINT = 'lines_invoiced_is_final';
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    IF NEW.sensor_kind IN ('zirconia', 'titania', 'wide_range') AND NOT EXISTS (
        SELECT FROM jobs j JOIN vehicle_sensors s USING (vehicle_id)
        WHERE j.id = NEW.job_id AND s.position = NEW.position AND s.kind = NEW.sensor_kind
            AND (s.bank = NEW.bank OR s.common) AND NEW.wires IN (0, s.wires)) THEN
        RAISE EXCEPTION 'no such sensor sits there'
            USING ERRCODE = 'check_violation', TABLE = 'lines', CONSTRAINT = 'lines_part_fits_place';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER lines_guard BEFORE INSERT OR UPDATE OR DELETE ON lines
    FOR EACH ROW EXECUTE FUNCTION lines_guard();

CREATE FUNCTION lines_limit() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM FROM accounts WHERE job_id = NEW.job_id FOR NO KEY UPDATE; -- two lines done at once wait for each other
    IF done_minor(NEW.job_id, NEW.scope) > coalesce((SELECT limit_minor FROM authorisations
            WHERE job_id = NEW.job_id AND scope = NEW.scope ORDER BY seq DESC LIMIT 1), 0) THEN
        RAISE EXCEPTION 'beyond the limit'
            USING ERRCODE = 'check_violation', TABLE = 'lines', CONSTRAINT = 'lines_within_authorisation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER lines_limit AFTER INSERT OR UPDATE ON lines
    FOR EACH ROW WHEN (NEW.status = 'done') EXECUTE FUNCTION lines_limit();

CREATE FUNCTION authorisations_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM FROM accounts WHERE job_id = NEW.job_id FOR NO KEY UPDATE;
    IF NEW.limit_minor >= 0 AND NEW.limit_minor < done_minor(NEW.job_id, NEW.scope) THEN
        RAISE EXCEPTION 'below the work already done'
            USING ERRCODE = 'check_violation', TABLE = 'authorisations', CONSTRAINT = 'authorisations_cover_what_is_done';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER authorisations_guard BEFORE INSERT ON authorisations
    FOR EACH ROW EXECUTE FUNCTION authorisations_guard();

CREATE TABLE payments (
    id           uuid PRIMARY KEY, -- made by the client
    document_id  bigint NOT NULL,
    job_id       bigint NOT NULL,
    currency     text NOT NULL,
    amount_minor bigint NOT NULL -- negative is a refund
                 CONSTRAINT payments_amount_present CHECK (amount_minor <> 0),
    method       text NOT NULL
                 CONSTRAINT payments_method_known CHECK (method IN ('cash', 'card', 'transfer', 'other')),
    words        text NOT NULL
                 CONSTRAINT payments_words_short CHECK (length(words) <= 500),
    at           timestamptz NOT NULL,
    by           bigint NOT NULL REFERENCES people,
    CONSTRAINT payments_of_document FOREIGN KEY (document_id, job_id, currency) REFERENCES documents (id, job_id, currency)
);
CREATE INDEX payments_document ON payments (document_id);
CREATE INDEX payments_job ON payments (job_id);
CREATE TRIGGER payments_append_only BEFORE UPDATE OR DELETE ON payments
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER payments_announce AFTER INSERT ON payments
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');

CREATE FUNCTION payments_guard() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    paper documents;
    paid  bigint;
BEGIN
    SELECT * INTO paper FROM documents WHERE id = NEW.document_id FOR NO KEY UPDATE;
    IF paper.kind <> 'invoice' OR paper.voided_at IS NOT NULL THEN
        RAISE EXCEPTION 'no standing invoice'
            USING ERRCODE = 'check_violation', TABLE = 'payments', CONSTRAINT = 'payments_invoice_stands';
    END IF;
    SELECT coalesce(sum(amount_minor), 0) + NEW.amount_minor INTO paid FROM payments WHERE document_id = NEW.document_id;
    IF paid < 0 OR paid > paper.total_minor THEN
        RAISE EXCEPTION 'more than the invoice'
            USING ERRCODE = 'check_violation', TABLE = 'payments', CONSTRAINT = 'payments_within_total';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER payments_guard BEFORE INSERT ON payments
    FOR EACH ROW EXECUTE FUNCTION payments_guard();

CREATE FUNCTION documents_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' OR OLD.voided_at IS NOT NULL
        OR to_jsonb(NEW) - '{voided_at,voided_by,voided_why,total_minor}'::text[] <> to_jsonb(OLD) - '{voided_at,voided_by,voided_why,total_minor}'::text[] THEN
        RAISE EXCEPTION 'a document is only ever voided'
            USING ERRCODE = 'check_violation', TABLE = 'documents', CONSTRAINT = 'documents_append_only';
    END IF;
    IF (SELECT coalesce(sum(amount_minor), 0) FROM payments WHERE document_id = NEW.id) <> 0 THEN
        RAISE EXCEPTION 'it is paid'
            USING ERRCODE = 'check_violation', TABLE = 'documents', CONSTRAINT = 'documents_voided_is_unpaid';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER documents_guard BEFORE UPDATE OR DELETE ON documents
    FOR EACH ROW EXECUTE FUNCTION documents_guard();

-- Links a customer opens without a log-in. Only the token's hash is kept.
CREATE TABLE customer_links (
    id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id     bigint NOT NULL CONSTRAINT customer_links_of_job REFERENCES jobs,
    token_hash bytea NOT NULL
               CONSTRAINT customer_links_token_is_hashed CHECK (length(token_hash) = 32)
               CONSTRAINT customer_links_token_once UNIQUE,
    created_at timestamptz NOT NULL,
    created_by bigint NOT NULL REFERENCES people,
    expires_at timestamptz NOT NULL
               CONSTRAINT customer_links_expire_later CHECK (expires_at > created_at),
    revoked_at timestamptz,
    revoked_by bigint REFERENCES people,
    CONSTRAINT customer_links_revoked_by_someone CHECK ((revoked_at IS NULL) = (revoked_by IS NULL))
);
CREATE INDEX customer_links_job ON customer_links (job_id);

CREATE TABLE customer_link_views (
    link_id    bigint NOT NULL REFERENCES customer_links,
    at         timestamptz NOT NULL,
    address    text NOT NULL,
    user_agent text NOT NULL
);
CREATE INDEX customer_link_views_link ON customer_link_views (link_id, at);
CREATE TRIGGER customer_link_views_append_only BEFORE UPDATE OR DELETE ON customer_link_views
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- An aftermarket converter: the removed unit is tagged and kept 15 days, the
-- papers 6 months (51 FR 28114; 52 FR 42144).
CREATE TABLE converter_papers (
    id               bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    job_id           bigint NOT NULL CONSTRAINT converter_papers_of_job REFERENCES jobs,
    bank             smallint NOT NULL
                     CONSTRAINT converter_papers_bank_range CHECK (bank BETWEEN 0 AND 2),
    need             text NOT NULL -- the statement of need
                     CONSTRAINT converter_papers_need_present CHECK (need ~ '\S' AND length(need) <= 4000),
    part_number      text NOT NULL
                     CONSTRAINT converter_papers_part_number_present CHECK (part_number ~ '\S' AND length(part_number) <= 100),
    tag              text NOT NULL -- on the removed unit
                     CONSTRAINT converter_papers_tag_present CHECK (tag ~ '\S' AND length(tag) <= 100),
    customer_name    text NOT NULL
                     CONSTRAINT converter_papers_customer_present CHECK (customer_name ~ '\S' AND length(customer_name) <= 200),
    removed_on       date NOT NULL, -- in the shop's time zone
    invoiced_on      date,
    keep_unit_until  date NOT NULL GENERATED ALWAYS AS (removed_on + 15) STORED,
    keep_paper_until date NOT NULL GENERATED ALWAYS AS ((coalesce(invoiced_on, removed_on) + interval '6 months')::date) STORED,
    signed_on        date, -- by the customer
    card_filled_on   date, -- the maker's warranty card
    unit_gone_on     date,
    at               timestamptz NOT NULL,
    by               bigint NOT NULL REFERENCES people,
    CONSTRAINT converter_papers_tag_once UNIQUE (tag),
    CONSTRAINT converter_papers_unit_is_kept CHECK (unit_gone_on > removed_on + 15)
);
CREATE INDEX converter_papers_job ON converter_papers (job_id);
CREATE INDEX converter_papers_unit ON converter_papers (keep_unit_until) WHERE unit_gone_on IS NULL;
CREATE TRIGGER converter_papers_announce AFTER INSERT OR UPDATE ON converter_papers
    FOR EACH ROW EXECUTE FUNCTION announce_job('job_id');
