DROP TABLE converter_papers, customer_link_views, customer_links, payments, lines, documents, document_counters,
    authorisations, tax_rates, accounts;
DROP FUNCTION documents_guard();
DROP FUNCTION payments_guard();
DROP FUNCTION authorisations_guard();
DROP FUNCTION lines_limit();
DROP FUNCTION lines_guard();
DROP FUNCTION done_minor(bigint, text);
