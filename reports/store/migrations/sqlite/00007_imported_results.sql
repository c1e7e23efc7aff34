-- +goose Up
-- Results that were not measured with this program: the files they came in, kept
-- whole as body, and each line. sha256 of a result is that of what it says, so that no
-- result is there twice, in whatever file it comes.
CREATE TABLE imported_file (
  sha256       TEXT PRIMARY KEY,
  name         TEXT NOT NULL,
  imported     TEXT NOT NULL,
  who          TEXT NOT NULL,
  separator    TEXT NOT NULL,
  decimal_mark TEXT NOT NULL,
  body         BLOB NOT NULL
) STRICT;
CREATE TABLE imported_result (
  sha256 TEXT PRIMARY KEY,
  file   TEXT NOT NULL REFERENCES imported_file (sha256),
  line   INTEGER NOT NULL,
  asset  TEXT NOT NULL,
  serial TEXT NOT NULL,
  body   TEXT NOT NULL
) STRICT;
CREATE INDEX imported_result_asset ON imported_result (asset);
CREATE INDEX imported_result_serial ON imported_result (serial);
CREATE INDEX imported_result_file ON imported_result (file, line);

-- +goose StatementBegin
CREATE TRIGGER imported_file_is_final BEFORE UPDATE ON imported_file
BEGIN SELECT RAISE(ABORT, 'an imported file is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER imported_file_stays BEFORE DELETE ON imported_file
BEGIN SELECT RAISE(ABORT, 'an imported file is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER imported_file_is_not_replaced BEFORE INSERT ON imported_file
WHEN EXISTS (SELECT 1 FROM imported_file WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'an imported file is never replaced'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER imported_result_is_final BEFORE UPDATE ON imported_result
BEGIN SELECT RAISE(ABORT, 'an imported result is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER imported_result_stays BEFORE DELETE ON imported_result
BEGIN SELECT RAISE(ABORT, 'an imported result is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER imported_result_is_not_replaced BEFORE INSERT ON imported_result
WHEN EXISTS (SELECT 1 FROM imported_result WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'an imported result is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE imported_result;
DROP TABLE imported_file;
