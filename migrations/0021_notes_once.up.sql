-- A note that a tablet wrote down without a network may arrive twice.
ALTER TABLE job_log ADD sent_id uuid
    CONSTRAINT job_log_sent_once UNIQUE; -- made by the client
