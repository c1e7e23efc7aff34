-- +goose Up
-- Logos of laboratories, which records and heads of runs name by their hash.
CREATE TABLE logo (
  sha256 TEXT PRIMARY KEY,
  body   BLOB NOT NULL
) STRICT;
-- +goose StatementBegin
CREATE TRIGGER logo_is_final BEFORE UPDATE ON logo
BEGIN SELECT RAISE(ABORT, 'a logo is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER logo_stays BEFORE DELETE ON logo
BEGIN SELECT RAISE(ABORT, 'a logo is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER logo_is_not_replaced BEFORE INSERT ON logo
WHEN EXISTS (SELECT 1 FROM logo WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'a logo is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE logo;
