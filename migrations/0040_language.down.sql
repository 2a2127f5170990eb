ALTER TABLE people DROP COLUMN language;
ALTER TABLE shop DROP COLUMN language, DROP COLUMN date_order;
