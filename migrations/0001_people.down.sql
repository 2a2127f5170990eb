DROP TABLE login_attempts, one_time_links, sessions, shop, people;
DROP FUNCTION people_guard();
DROP FUNCTION refuse_change();
