DROP FUNCTION search_jobs(text, integer);
ALTER FUNCTION search_jobs_as_typed(text, integer) RENAME TO search_jobs;
DROP FUNCTION search_transposed(text);
