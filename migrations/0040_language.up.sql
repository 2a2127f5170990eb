-- Words and dates: the shop's, a person's own, and a customer's for their papers
-- (customers.language). Which languages there are is the program's to know.
ALTER TABLE shop
    ADD COLUMN language text NOT NULL DEFAULT 'en'
        CONSTRAINT shop_language_form CHECK (language ~ '^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$'),
    ADD COLUMN date_order text NOT NULL DEFAULT 'day'
        CONSTRAINT shop_date_order_known CHECK (date_order IN ('day', 'month', 'year'));

ALTER TABLE people
    ADD COLUMN language text NOT NULL DEFAULT ''
        CONSTRAINT people_language_form CHECK (language ~ '^([A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*)?$');
