DROP VIEW standing_evidence;
DROP TABLE evidence, job_log, jobs;
DROP FUNCTION evidence_guard();
DROP FUNCTION job_is_open(bigint);
DROP FUNCTION announce_job();
