-- +goose Up
-- What was done at the bench outside any run: adjustments, and sources held at a
-- point. entry is one of them; as_found is the record that an adjustment follows.
CREATE TABLE bench_log (
  seq       bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  entry     text COLLATE "C" NOT NULL,
  what      text COLLATE "C" NOT NULL,
  at        text COLLATE "C" NOT NULL,
  serial    text COLLATE "C" NOT NULL,
  procedure text COLLATE "C" NOT NULL,
  as_found  text COLLATE "C" NOT NULL,
  body      text NOT NULL
);
CREATE INDEX bench_log_serial ON bench_log (serial, procedure, seq);
CREATE TRIGGER bench_log_is_final BEFORE UPDATE ON bench_log FOR EACH STATEMENT EXECUTE FUNCTION never('an entry of the bench log is never changed');
CREATE TRIGGER bench_log_stays BEFORE DELETE OR TRUNCATE ON bench_log FOR EACH STATEMENT EXECUTE FUNCTION never('an entry of the bench log is never removed');

-- +goose Down
DROP TABLE bench_log;
