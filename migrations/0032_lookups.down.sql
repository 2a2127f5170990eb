DROP INDEX customers_name_begin;
DROP INDEX vehicles_make_model;
