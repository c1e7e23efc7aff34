-- +goose Up
-- What records are searched by, in narrow rows, newest last: copies of what the
-- records say. words is asset, serial, customer and model in lower case.
CREATE TABLE listed (
  created   text COLLATE "C" NOT NULL,
  record    text COLLATE "C" NOT NULL REFERENCES record (id),
  kind      text COLLATE "C" NOT NULL,
  began     text COLLATE "C" NOT NULL,
  ended     text COLLATE "C" NOT NULL,
  asset     text COLLATE "C" NOT NULL,
  serial    text COLLATE "C" NOT NULL,
  customer  text COLLATE "C" NOT NULL,
  model     text COLLATE "C" NOT NULL,
  statement text COLLATE "C" NOT NULL,
  follows   text COLLATE "C" NOT NULL,
  corrects  text COLLATE "C" NOT NULL,
  words     text COLLATE "C" NOT NULL,
  PRIMARY KEY (created, record)
);
CREATE UNIQUE INDEX listed_record ON listed (record);
CREATE INDEX listed_tail ON listed (right(record, 8));
-- An index takes at most some 2700 bytes: long texts are found by their beginning.
CREATE INDEX listed_asset ON listed (left(asset, 100), created, record);
CREATE INDEX listed_serial ON listed (left(serial, 100), created, record);
CREATE INDEX listed_customer ON listed (left(customer, 100), created, record);
CREATE INDEX listed_statement ON listed (left(statement, 100), created, record);
CREATE INDEX listed_corrects ON listed (corrects) WHERE corrects <> '';

-- Each standard as its certificate names it, and the records that rest on it, with
-- the number of points; 0 where it served the run as a whole.
CREATE TABLE standard (
  id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  name        text COLLATE "C" NOT NULL,
  serial      text COLLATE "C" NOT NULL,
  certificate text COLLATE "C" NOT NULL
);
CREATE INDEX standard_name ON standard (left(name, 100));
CREATE INDEX standard_serial ON standard (left(serial, 100));
CREATE INDEX standard_certificate ON standard (left(certificate, 100));
CREATE TABLE record_standard (
  standard bigint NOT NULL REFERENCES standard (id),
  created  text COLLATE "C" NOT NULL,
  record   text COLLATE "C" NOT NULL REFERENCES record (id),
  role     text NOT NULL,
  points   bigint NOT NULL,
  PRIMARY KEY (standard, created, record)
);
CREATE INDEX record_standard_record ON record_standard (record);

-- The runs that have no record yet.
CREATE TABLE open_run (
  run text COLLATE "C" PRIMARY KEY REFERENCES run (id)
);
INSERT INTO open_run SELECT id FROM run WHERE NOT EXISTS (SELECT 1 FROM record WHERE record.id = run.id);

CREATE INDEX bench_log_adjustment ON bench_log (as_found, at) WHERE what = 'adjustment';
DROP INDEX record_asset;
DROP INDEX record_serial;

CREATE TRIGGER listed_is_final BEFORE UPDATE ON listed FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never changed');
CREATE TRIGGER listed_stays BEFORE DELETE OR TRUNCATE ON listed FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never removed');
CREATE TRIGGER record_standard_is_final BEFORE UPDATE ON record_standard FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never changed');
CREATE TRIGGER record_standard_stays BEFORE DELETE OR TRUNCATE ON record_standard FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never removed');
CREATE TRIGGER run_is_final BEFORE UPDATE ON run FOR EACH STATEMENT EXECUTE FUNCTION never('the head of a journal is never changed');
CREATE TRIGGER run_stays BEFORE DELETE OR TRUNCATE ON run FOR EACH STATEMENT EXECUTE FUNCTION never('the head of a journal is never removed');

-- +goose Down
DROP TRIGGER run_stays ON run;
DROP TRIGGER run_is_final ON run;
DROP INDEX bench_log_adjustment;
DROP TABLE open_run;
DROP TABLE record_standard;
DROP TABLE standard;
DROP TABLE listed;
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);
