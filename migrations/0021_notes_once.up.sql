-- A note that a tablet wrote down without a network may arrive twice.
ALTER TABLE job_log ADD sent_id uuid; -- made by the client
CREATE UNIQUE INDEX job_log_sent_once ON job_log (sent_id);
