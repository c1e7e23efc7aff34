-- +goose Up
-- Texts sort by their bytes, as in SQLite, whatever the database's locale.
CREATE TABLE run (
  id      text COLLATE "C" PRIMARY KEY,
  kind    text NOT NULL,
  started text COLLATE "C" NOT NULL,
  header  text NOT NULL
);

CREATE TABLE journal (
  seq  bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  run  text COLLATE "C" NOT NULL REFERENCES run (id),
  what text NOT NULL,
  body text NOT NULL
);
CREATE INDEX journal_run ON journal (run, seq);

CREATE TABLE record (
  id        text COLLATE "C" PRIMARY KEY,
  kind      text COLLATE "C" NOT NULL,
  created   text COLLATE "C" NOT NULL,
  asset     text COLLATE "C" NOT NULL,
  serial    text COLLATE "C" NOT NULL,
  customer  text COLLATE "C" NOT NULL,
  model     text COLLATE "C" NOT NULL,
  statement text COLLATE "C" NOT NULL,
  follows   text COLLATE "C" NOT NULL,
  body      text NOT NULL
);
CREATE INDEX record_created ON record (created);
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);

-- A record and a journal entry are never changed or taken back.
-- +goose StatementBegin
CREATE FUNCTION never() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END $$;
-- +goose StatementEnd
CREATE TRIGGER record_is_final BEFORE UPDATE ON record FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never changed');
CREATE TRIGGER record_stays BEFORE DELETE OR TRUNCATE ON record FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never removed');
CREATE TRIGGER journal_is_final BEFORE UPDATE ON journal FOR EACH STATEMENT EXECUTE FUNCTION never('a journal entry is never changed');
CREATE TRIGGER journal_stays BEFORE DELETE OR TRUNCATE ON journal FOR EACH STATEMENT EXECUTE FUNCTION never('a journal entry is never removed');

-- +goose Down
DROP TABLE record;
DROP TABLE journal;
DROP TABLE run;
DROP FUNCTION never;
