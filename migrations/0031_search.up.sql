-- Both are trusted: a role that may create in the database may add them.
CREATE EXTENSION IF NOT EXISTS pg_trgm SCHEMA public;
CREATE EXTENSION IF NOT EXISTS unaccent SCHEMA public;

-- Case and accents aside. unaccent is not immutable by itself, for its
-- dictionary can be changed; with the dictionary named it is, as long as nobody
-- edits the file that PostgreSQL ships. The schema is named because a restore
-- builds the index below without a search path.
CREATE FUNCTION fold(t text) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT lower(public.unaccent('public.unaccent', t))
$$;
CREATE INDEX customers_name_trigrams ON customers USING gin (fold(name) gin_trgm_ops);
CREATE INDEX customers_phone_trigrams ON customers USING gin (phone_digits gin_trgm_ops);

-- The words of a text as they are searched for: lower case, without accents,
-- in their order.
CREATE FUNCTION search_words(t text) RETURNS text[] LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT coalesce(array_agg(left(w, 60) ORDER BY n), '{}')
    FROM regexp_split_to_table(fold(t), '[[:space:][:punct:]]+') WITH ORDINALITY AS s (w, n) WHERE w <> ''
$$;

-- One row per job with every word it can be found by, and one row per word for
-- what is spelt otherwise.
CREATE TABLE search_documents (
    job_id bigint PRIMARY KEY REFERENCES jobs,
    doc    tsvector NOT NULL
);
-- Without a list of pending entries, which every search would have to read through.
CREATE INDEX search_documents_doc ON search_documents USING gin (doc) WITH (fastupdate = off);
CREATE TABLE search_vocabulary (
    word text PRIMARY KEY
);
CREATE INDEX search_vocabulary_trigrams ON search_vocabulary USING gin (word gin_trgm_ops) WITH (fastupdate = off);
CREATE INDEX search_vocabulary_prefix ON search_vocabulary (word text_pattern_ops);

-- Numbers that are written in groups are found whole as well: plate, telephone,
-- part number.
CREATE FUNCTION search_words_of_job(job bigint) RETURNS text[] LANGUAGE sql STABLE AS $$
    SELECT array(SELECT DISTINCT w FROM jobs j
        JOIN customers c ON c.id = j.customer_id
        JOIN vehicles v ON v.id = j.vehicle_id
        CROSS JOIN LATERAL (
            SELECT string_agg(part_number || ' ' || regexp_replace(part_number, '[^[:alnum:]]', '', 'g') || ' ' || words, ' ') AS done
            FROM repairs r WHERE r.job_id = j.id AND r.undone_at IS NULL) r
        CROSS JOIN LATERAL (
            SELECT string_agg(part_number || ' ' || regexp_replace(part_number, '[^[:alnum:]]', '', 'g'), ' ') AS parts
            FROM lines l WHERE l.job_id = j.id AND part_number <> '') l
        CROSS JOIN LATERAL (
            SELECT string_agg(code, ' ') AS codes FROM standing_evidence e WHERE e.job_id = j.id AND code IS NOT NULL) e
        CROSS JOIN unnest(search_words(concat_ws(' ', c.name, c.email, c.phone_digits, v.plate, v.plate_key, v.vin, v.make, v.model,
            nullif(v.model_year, 0), j.concern, r.done, l.parts, e.codes))) w
        WHERE j.id = job)
$$;

CREATE FUNCTION refresh_search(job bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    words text[];
BEGIN
    -- Whoever refreshes the same job waits here, and then sees what the other wrote.
    INSERT INTO search_documents VALUES (job, '') ON CONFLICT (job_id) DO NOTHING;
    PERFORM FROM search_documents WHERE job_id = job FOR UPDATE;
    words := search_words_of_job(job);
    UPDATE search_documents SET doc = array_to_tsvector(words) WHERE job_id = job AND doc <> array_to_tsvector(words);
    IF FOUND THEN
        INSERT INTO search_vocabulary SELECT w FROM unnest(words) w
            WHERE NOT EXISTS (SELECT FROM search_vocabulary k WHERE k.word = w) ORDER BY w ON CONFLICT DO NOTHING;
    END IF;
END $$;

CREATE FUNCTION search_follows_job() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM refresh_search(NEW.id);
    RETURN NULL;
END $$;
CREATE TRIGGER jobs_search_insert AFTER INSERT ON jobs
    FOR EACH ROW EXECUTE FUNCTION search_follows_job();
CREATE TRIGGER jobs_search_update AFTER UPDATE OF concern, customer_id, vehicle_id ON jobs
    FOR EACH ROW EXECUTE FUNCTION search_follows_job();

CREATE FUNCTION search_follows_part() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM refresh_search(CASE TG_OP WHEN 'DELETE' THEN (to_jsonb(OLD) ->> 'job_id')::bigint ELSE (to_jsonb(NEW) ->> 'job_id')::bigint END);
    RETURN NULL;
END $$;
CREATE TRIGGER evidence_search AFTER INSERT ON evidence
    FOR EACH ROW WHEN (NEW.body ? 'code' OR NEW.withdraws IS NOT NULL) EXECUTE FUNCTION search_follows_part();
CREATE TRIGGER repairs_search AFTER INSERT OR UPDATE ON repairs
    FOR EACH ROW EXECUTE FUNCTION search_follows_part();
CREATE TRIGGER lines_search_insert AFTER INSERT ON lines
    FOR EACH ROW WHEN (NEW.part_number <> '') EXECUTE FUNCTION search_follows_part();
CREATE TRIGGER lines_search_update AFTER UPDATE ON lines
    FOR EACH ROW WHEN (NEW.part_number <> OLD.part_number) EXECUTE FUNCTION search_follows_part();
CREATE TRIGGER lines_search_delete AFTER DELETE ON lines
    FOR EACH ROW WHEN (OLD.part_number <> '') EXECUTE FUNCTION search_follows_part();

CREATE FUNCTION search_follows_owner() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_TABLE_NAME = 'customers' THEN
        PERFORM refresh_search(id) FROM (SELECT id FROM jobs WHERE customer_id = NEW.id ORDER BY id) j;
    ELSE
        PERFORM refresh_search(id) FROM (SELECT id FROM jobs WHERE vehicle_id = NEW.id ORDER BY id) j;
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER customers_search AFTER UPDATE OF name, phone, email ON customers
    FOR EACH ROW EXECUTE FUNCTION search_follows_owner();
CREATE TRIGGER vehicles_search AFTER UPDATE OF plate, vin, make, model, model_year ON vehicles
    FOR EACH ROW EXECUTE FUNCTION search_follows_owner();

-- The numbers of the jobs that a text finds, at most n: first those with all
-- its words, or words that begin so; then those that contain it in a plate,
-- VIN, telephone or part number; if there are none, as not exact, those with
-- words spelt much like it. The latest come first in each group.
CREATE FUNCTION search_jobs(t text, n integer) RETURNS TABLE (job_id bigint, exact boolean) LANGUAGE plpgsql STABLE AS $$
DECLARE
    words     text[] := (search_words(t))[1:8];
    squeezed  text := array_to_string(words, '');
    wanted    text;
    near      text[];
    part      text;
    whole     text := ''; -- every word, or what begins so
    common    text[] := '{}'; -- words that one job in 200 has
    begun     text[] := '{}'; -- for each word: what begins so, written out if that is not too much
    sizes     integer[] := '{}'; -- how many words that is, at most 60
    usual     boolean[] := '{}'; -- whether one of these is common
    narrow    text;
    fuzzy     text := ''; -- every word, or what is spelt much like it
    found     bigint[];
    more      bigint[];
    hopeless  boolean := false; -- some word begins no known one
    precise   integer;
BEGIN
    IF cardinality(words) = 0 OR n < 1 THEN
        RETURN;
    END IF;
    found := array(SELECT id FROM jobs WHERE squeezed ~ '^[1-9][0-9]{0,17}$' AND id = (CASE WHEN squeezed ~ '^[1-9][0-9]{0,17}$' THEN squeezed END)::bigint);

    IF cardinality(words) > 1 THEN
        common := array(SELECT u.word FROM pg_stats k, unnest(k.most_common_elems::text::text[], k.most_common_elem_freqs) AS u (word, share)
            WHERE k.schemaname = current_schema AND k.tablename = 'search_documents' AND k.attname = 'doc' AND u.share >= 0.005);
    END IF;
    FOREACH wanted IN ARRAY words LOOP
        whole := whole || ' & ' || quote_literal(wanted) || ':*';
        near := array(SELECT v.word FROM search_vocabulary v
            WHERE v.word ~>=~ wanted AND v.word ~<~ (wanted || chr(1114111)) LIMIT 60);
        hopeless := hopeless OR cardinality(near) = 0;
        begun := array_append(begun, CASE
            WHEN cardinality(near) < 60 THEN (SELECT '(' || string_agg(quote_literal(w), ' | ') || ')' FROM unnest(near) w)
            WHEN cardinality(words) = 1 OR length(wanted) >= 4 THEN quote_literal(wanted) || ':*' END);
        sizes := sizes || cardinality(near);
        usual := usual || (near && common);
    END LOOP;
    whole := substr(whole, 4);

    IF NOT hopeless THEN
        -- What is frequent is found among the latest jobs; the rest is rare enough for the index.
        EXECUTE $q$
            SELECT array(SELECT k.job_id FROM (SELECT d.job_id, d.doc FROM search_documents d ORDER BY d.job_id DESC LIMIT 5000) k
                WHERE k.doc @@ $1 AND k.job_id <> ALL ($3) ORDER BY k.job_id DESC LIMIT $2)
            $q$ INTO more USING whole::tsquery, n, found;
        found := found || more;
        -- The index is asked for the rare words alone, or else for all but the common
        -- ones with many endings: it is slow with long lists, and the rows it gives
        -- are looked at anyway.
        SELECT coalesce(string_agg(b, ' & ') FILTER (WHERE s < 60 AND NOT u), string_agg(b, ' & ') FILTER (WHERE s <= 5 OR NOT u),
            string_agg(b, ' & ')) INTO narrow FROM unnest(begun, sizes, usual) AS k (b, s, u);
        IF cardinality(more) < n AND narrow IS NOT NULL THEN
            EXECUTE format($q$
                SELECT array(SELECT k.job_id FROM (SELECT d.job_id, d.doc FROM search_documents d WHERE d.doc @@ %L::tsquery OFFSET 0) k
                    WHERE k.doc @@ $1 AND k.job_id <> ALL ($3) ORDER BY k.job_id DESC LIMIT $2)
                $q$, narrow) INTO more USING whole::tsquery, n, found;
            found := found || more;
        END IF;
    END IF;
    IF cardinality(found) < n AND length(squeezed) BETWEEN 4 AND 20 AND (cardinality(words) = 1 OR squeezed ~ '[0-9]') THEN
        near := array(SELECT v.word FROM search_vocabulary v WHERE v.word LIKE '%' || squeezed || '%' LIMIT 50);
        IF cardinality(near) > 0 THEN
            EXECUTE format($q$
                SELECT array(SELECT k.job_id FROM (SELECT d.job_id FROM search_documents d WHERE d.doc @@ %L::tsquery OFFSET 0) k
                    WHERE k.job_id <> ALL ($2) ORDER BY k.job_id DESC LIMIT $1)
                $q$, (SELECT string_agg(quote_literal(w), ' | ') FROM unnest(near) w)) INTO more USING n, found;
            found := found || more;
        END IF;
    END IF;
    precise := cardinality(found);

    IF precise = 0 AND length(squeezed) >= 3 THEN
        narrow := '';
        FOREACH wanted IN ARRAY words LOOP
            near := array(SELECT v.word FROM search_vocabulary v WHERE length(wanted) >= 3 AND v.word % wanted
                ORDER BY similarity(v.word, wanted) DESC, v.word LIMIT 12);
            part := concat_ws(' | ', quote_literal(wanted) || ':*', (SELECT string_agg(quote_literal(w), ' | ') FROM unnest(near) w));
            fuzzy := fuzzy || ' & (' || part || ')';
            IF cardinality(near) > 0 THEN
                narrow := narrow || ' & (' || (SELECT string_agg(quote_literal(w), ' | ') FROM unnest(near) w) || ')';
            END IF;
        END LOOP;
        EXECUTE $q$
            SELECT array(SELECT k.job_id FROM (SELECT d.job_id, d.doc FROM search_documents d ORDER BY d.job_id DESC LIMIT 5000) k
                WHERE k.doc @@ $1 AND k.job_id <> ALL ($3) ORDER BY k.job_id DESC LIMIT $2)
            $q$ INTO more USING substr(fuzzy, 4)::tsquery, n, found;
        found := found || more;
        IF cardinality(found) < n AND narrow <> '' THEN
            EXECUTE format($q$
                SELECT array(SELECT k.job_id FROM (SELECT d.job_id, d.doc FROM search_documents d WHERE d.doc @@ %L::tsquery OFFSET 0) k
                    WHERE k.doc @@ $1 AND k.job_id <> ALL ($3) ORDER BY k.job_id DESC LIMIT $2)
                $q$, substr(narrow, 4)) INTO more USING substr(fuzzy, 4)::tsquery, n, found;
            found := found || more;
        END IF;
    END IF;
    RETURN QUERY SELECT f.id, f.nr <= precise FROM unnest(found) WITH ORDINALITY AS f (id, nr) ORDER BY f.nr LIMIT n;
END $$;

-- The jobs there are already.
INSERT INTO search_documents SELECT id, array_to_tsvector(search_words_of_job(id)) FROM jobs;
INSERT INTO search_vocabulary SELECT DISTINCT w FROM search_documents, unnest(tsvector_to_array(doc)) w;
