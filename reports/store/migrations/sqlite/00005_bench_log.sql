-- +goose Up
-- What was done at the bench outside any run: adjustments, and sources held at a
-- point. entry is one of them; as_found is the record that an adjustment follows.
CREATE TABLE bench_log (
  seq       INTEGER PRIMARY KEY AUTOINCREMENT,
  entry     TEXT NOT NULL,
  what      TEXT NOT NULL,
  at        TEXT NOT NULL,
  serial    TEXT NOT NULL,
  procedure TEXT NOT NULL,
  as_found  TEXT NOT NULL,
  body      TEXT NOT NULL
) STRICT;
CREATE INDEX bench_log_serial ON bench_log (serial, procedure, seq);
-- +goose StatementBegin
CREATE TRIGGER bench_log_is_final BEFORE UPDATE ON bench_log
BEGIN SELECT RAISE(ABORT, 'an entry of the bench log is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER bench_log_stays BEFORE DELETE ON bench_log
BEGIN SELECT RAISE(ABORT, 'an entry of the bench log is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER bench_log_is_not_replaced BEFORE INSERT ON bench_log
WHEN EXISTS (SELECT 1 FROM bench_log WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'an entry of the bench log is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE bench_log;
