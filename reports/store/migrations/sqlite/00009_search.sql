-- +goose Up
-- What records are searched by, in narrow rows, newest last: copies of what the
-- records say. words is asset, serial, customer and model in lower case.
CREATE TABLE listed (
  created   TEXT NOT NULL,
  record    TEXT NOT NULL REFERENCES record (id),
  kind      TEXT NOT NULL,
  began     TEXT NOT NULL,
  ended     TEXT NOT NULL,
  asset     TEXT NOT NULL,
  serial    TEXT NOT NULL,
  customer  TEXT NOT NULL,
  model     TEXT NOT NULL,
  statement TEXT NOT NULL,
  follows   TEXT NOT NULL,
  corrects  TEXT NOT NULL,
  words     TEXT NOT NULL,
  PRIMARY KEY (created, record)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX listed_record ON listed (record);
CREATE INDEX listed_tail ON listed (substr(record, -8));
CREATE INDEX listed_asset ON listed (asset, created, record);
CREATE INDEX listed_serial ON listed (serial, created, record);
CREATE INDEX listed_customer ON listed (customer, created, record);
CREATE INDEX listed_statement ON listed (statement, created, record);
CREATE INDEX listed_corrects ON listed (corrects) WHERE corrects <> '';

-- Each standard as its certificate names it, and the records that rest on it, with
-- the number of points; 0 where it served the run as a whole.
CREATE TABLE standard (
  id          INTEGER PRIMARY KEY,
  name        TEXT NOT NULL,
  serial      TEXT NOT NULL,
  certificate TEXT NOT NULL,
  UNIQUE (name, serial, certificate)
) STRICT;
CREATE INDEX standard_serial ON standard (serial);
CREATE INDEX standard_certificate ON standard (certificate);
CREATE TABLE record_standard (
  standard INTEGER NOT NULL REFERENCES standard (id),
  created  TEXT NOT NULL,
  record   TEXT NOT NULL REFERENCES record (id),
  role     TEXT NOT NULL,
  points   INTEGER NOT NULL,
  PRIMARY KEY (standard, created, record)
) STRICT, WITHOUT ROWID;
CREATE INDEX record_standard_record ON record_standard (record);

-- The runs that have no record yet.
CREATE TABLE open_run (
  run TEXT PRIMARY KEY REFERENCES run (id)
) STRICT, WITHOUT ROWID;
INSERT INTO open_run SELECT id FROM run WHERE NOT EXISTS (SELECT 1 FROM record WHERE record.id = run.id);

CREATE INDEX bench_log_adjustment ON bench_log (as_found, at) WHERE what = 'adjustment';
DROP INDEX record_asset;
DROP INDEX record_serial;

-- +goose StatementBegin
CREATE TRIGGER listed_is_final BEFORE UPDATE ON listed
BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER listed_stays BEFORE DELETE ON listed
BEGIN SELECT RAISE(ABORT, 'a record is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER listed_is_not_replaced BEFORE INSERT ON listed
WHEN EXISTS (SELECT 1 FROM listed WHERE record = NEW.record)
BEGIN SELECT RAISE(ABORT, 'a record is never replaced'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_standard_is_final BEFORE UPDATE ON record_standard
BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_standard_stays BEFORE DELETE ON record_standard
BEGIN SELECT RAISE(ABORT, 'a record is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_standard_is_not_replaced BEFORE INSERT ON record_standard
WHEN EXISTS (SELECT 1 FROM record_standard WHERE standard = NEW.standard AND created = NEW.created AND record = NEW.record)
BEGIN SELECT RAISE(ABORT, 'a record is never replaced'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER run_is_final BEFORE UPDATE ON run
BEGIN SELECT RAISE(ABORT, 'the head of a journal is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER run_stays BEFORE DELETE ON run
BEGIN SELECT RAISE(ABORT, 'the head of a journal is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER run_is_not_replaced BEFORE INSERT ON run
WHEN EXISTS (SELECT 1 FROM run WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the head of a journal is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
DROP TRIGGER run_is_not_replaced;
DROP TRIGGER run_stays;
DROP TRIGGER run_is_final;
DROP INDEX bench_log_adjustment;
DROP TABLE open_run;
DROP TABLE record_standard;
DROP TABLE standard;
DROP TABLE listed;
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);
