DROP TABLE capture_entries, captures, mappings, file_chunks, files;
DROP FUNCTION refuse_finished_job();
