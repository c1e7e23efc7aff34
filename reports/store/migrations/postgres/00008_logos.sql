-- +goose Up
-- Logos of laboratories, which records and heads of runs name by their hash.
CREATE TABLE logo (
  sha256 text COLLATE "C" PRIMARY KEY,
  body   bytea NOT NULL
);
CREATE TRIGGER logo_is_final BEFORE UPDATE ON logo FOR EACH STATEMENT EXECUTE FUNCTION never('a logo is never changed');
CREATE TRIGGER logo_stays BEFORE DELETE OR TRUNCATE ON logo FOR EACH STATEMENT EXECUTE FUNCTION never('a logo is never removed');

-- +goose Down
DROP TABLE logo;
