-- +goose Up
CREATE TABLE run (
  id      TEXT PRIMARY KEY,
  kind    TEXT NOT NULL,
  started TEXT NOT NULL,
  header  TEXT NOT NULL
) STRICT;

CREATE TABLE journal (
  seq  INTEGER PRIMARY KEY AUTOINCREMENT,
  run  TEXT NOT NULL REFERENCES run (id),
  what TEXT NOT NULL,
  body TEXT NOT NULL
) STRICT;
CREATE INDEX journal_run ON journal (run, seq);

CREATE TABLE record (
  id        TEXT PRIMARY KEY,
  kind      TEXT NOT NULL,
  created   TEXT NOT NULL,
  asset     TEXT NOT NULL,
  serial    TEXT NOT NULL,
  customer  TEXT NOT NULL,
  model     TEXT NOT NULL,
  statement TEXT NOT NULL,
  follows   TEXT NOT NULL,
  body      TEXT NOT NULL
) STRICT;
CREATE INDEX record_created ON record (created);
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);

-- A record and a journal entry are never changed or taken back.
-- +goose StatementBegin
CREATE TRIGGER record_is_final BEFORE UPDATE ON record
BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_stays BEFORE DELETE ON record
BEGIN SELECT RAISE(ABORT, 'a record is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER journal_is_final BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'a journal entry is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER journal_stays BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'a journal entry is never removed'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE record;
DROP TABLE journal;
DROP TABLE run;
