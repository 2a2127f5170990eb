ALTER TABLE repairs DROP torque_nm;
DROP TABLE maker_data, set_asides, test_times, photos;
DROP FUNCTION photos_guard();
