-- +goose Up
-- The wire log of a run, as it was written: parts in order, each compressed
-- (gzip) by itself; put together they are one gzip file.
CREATE TABLE wire_log (
  seq  bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  run  text COLLATE "C" NOT NULL REFERENCES run (id),
  body bytea NOT NULL
);
CREATE INDEX wire_log_run ON wire_log (run, seq);
CREATE TRIGGER wire_log_is_final BEFORE UPDATE ON wire_log FOR EACH STATEMENT EXECUTE FUNCTION never('a wire log is never changed');
CREATE TRIGGER wire_log_stays BEFORE DELETE OR TRUNCATE ON wire_log FOR EACH STATEMENT EXECUTE FUNCTION never('a wire log is never removed');

-- +goose Down
DROP TABLE wire_log;
