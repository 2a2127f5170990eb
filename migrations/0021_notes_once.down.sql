ALTER TABLE job_log DROP sent_id;
