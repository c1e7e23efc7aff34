-- +goose Up
-- The wire log of a run, as it was written: parts in order, each compressed
-- (gzip) by itself; put together they are one gzip file.
CREATE TABLE wire_log (
  seq  INTEGER PRIMARY KEY AUTOINCREMENT,
  run  TEXT NOT NULL REFERENCES run (id),
  body BLOB NOT NULL
) STRICT;
CREATE INDEX wire_log_run ON wire_log (run, seq);

-- +goose StatementBegin
CREATE TRIGGER wire_log_is_final BEFORE UPDATE ON wire_log
BEGIN SELECT RAISE(ABORT, 'a wire log is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER wire_log_stays BEFORE DELETE ON wire_log
BEGIN SELECT RAISE(ABORT, 'a wire log is never removed'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE wire_log;
