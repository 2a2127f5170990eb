DROP TABLE comebacks;
DROP TRIGGER jobs_guard ON jobs;
DROP TRIGGER jobs_outcome_guard ON jobs;
-- Without verdicts no job is past the gathering of evidence.
UPDATE jobs SET diagnosed_at = NULL, approved_at = NULL, repaired_at = NULL, proved_at = NULL,
    closed_at = NULL, closed_by = NULL, outcome = NULL, unproved_why = '', verdict_id = NULL;
DROP TABLE confirmed_causes, proofs, sensor_fittings, repairs;
ALTER TABLE jobs DROP COLUMN verdict_id;
DROP TABLE overrides, verdicts;
DROP FUNCTION comebacks_guard();
DROP FUNCTION jobs_guard();
DROP FUNCTION jobs_outcome_guard();
DROP FUNCTION proofs_guard();
DROP FUNCTION repairs_guard();
DROP FUNCTION verdicts_guard();
