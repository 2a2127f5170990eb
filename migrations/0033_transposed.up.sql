-- What a word may have been before two neighbouring letters changed places.
CREATE FUNCTION search_transposed(w text) RETURNS text[] LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT coalesce(array_agg(DISTINCT v), '{}')
    FROM (SELECT left(w, i - 1) || substr(w, i + 1, 1) || substr(w, i, 1) || substr(w, i + 2) AS v FROM generate_series(1, length(w) - 1) i) s
    WHERE v <> w
$$;

-- Two letters that changed places leave hardly a trigram of a short word, so where
-- nothing has all the words as typed, the unknown ones are tried with neighbours
-- changed back. What that finds stands first, as not exact.
ALTER FUNCTION search_jobs(text, integer) RENAME TO search_jobs_as_typed;
CREATE FUNCTION search_jobs(t text, n integer) RETURNS TABLE (job_id bigint, exact boolean) LANGUAGE plpgsql STABLE AS $$
DECLARE
    typed  text[] := (search_words(t))[1:8];
    mended text[] := '{}';
    wanted text;
    known  text;
    found  bigint[];
    turned bigint[];
    sure   boolean[];
BEGIN
    SELECT coalesce(array_agg(f.id ORDER BY f.nr), '{}'), coalesce(array_agg(f.sure ORDER BY f.nr), '{}') INTO found, sure
        FROM search_jobs_as_typed(t, n) WITH ORDINALITY AS f (id, sure, nr);
    IF NOT true = ANY (sure) THEN
        FOREACH wanted IN ARRAY typed LOOP
            known := NULL;
            IF length(wanted) BETWEEN 3 AND 30
                AND NOT EXISTS (SELECT FROM search_vocabulary v WHERE v.word ~>=~ wanted AND v.word ~<~ (wanted || chr(1114111))) THEN
                SELECT v.word INTO known FROM search_vocabulary v WHERE v.word = ANY (search_transposed(wanted)) ORDER BY v.word LIMIT 1;
            END IF;
            mended := mended || coalesce(known, wanted);
        END LOOP;
        IF mended <> typed THEN
            turned := array(SELECT f.id FROM search_jobs_as_typed(array_to_string(mended, ' '), n) WITH ORDINALITY AS f (id, sure, nr)
                WHERE f.sure ORDER BY f.nr);
            found := turned || array(SELECT u.id FROM unnest(found) WITH ORDINALITY AS u (id, nr) WHERE u.id <> ALL (turned) ORDER BY u.nr);
            sure := array_fill(false, ARRAY [cardinality(found)]);
        END IF;
    END IF;
    RETURN QUERY SELECT f.id, f.sure FROM unnest(found, sure) WITH ORDINALITY AS f (id, sure, nr) ORDER BY f.nr LIMIT n;
END $$;
