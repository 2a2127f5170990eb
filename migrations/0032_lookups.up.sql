-- The nearest known car of a make and model.
CREATE INDEX vehicles_make_model ON vehicles (lower(make), lower(model), model_year);
-- Names that begin with one or two letters, which trigrams cannot help to find.
CREATE INDEX customers_name_begin ON customers (fold(name) text_pattern_ops);
