-- +goose Up
-- What is searched for is compared whole, so the indexes are on the whole: texts
-- here have at most 250 characters.
DROP INDEX listed_asset;
DROP INDEX listed_serial;
DROP INDEX listed_customer;
DROP INDEX listed_statement;
DROP INDEX standard_name;
DROP INDEX standard_serial;
DROP INDEX standard_certificate;
CREATE INDEX listed_asset ON listed (asset, created, record);
CREATE INDEX listed_serial ON listed (serial, created, record);
CREATE INDEX listed_customer ON listed (customer, created, record);
CREATE INDEX listed_statement ON listed (statement, created, record);
CREATE INDEX standard_name ON standard (name);
CREATE INDEX standard_serial ON standard (serial);
CREATE INDEX standard_certificate ON standard (certificate);

-- +goose Down
SELECT 1;
