-- +goose Up
-- Records are kept as their exact bytes, compressed (gzip; those of before as
-- they were), with seal and signature. packed_sha256 is the hash of body as it
-- lies here. chain names the chains whose records are here; own is the one that
-- this store adds to.
CREATE TABLE chain (
  id   TEXT PRIMARY KEY,
  own  INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX chain_own ON chain (own) WHERE own = 1;

CREATE TABLE sealed_record (
  id            TEXT PRIMARY KEY,
  kind          TEXT NOT NULL,
  created       TEXT NOT NULL,
  asset         TEXT NOT NULL,
  serial        TEXT NOT NULL,
  customer      TEXT NOT NULL,
  model         TEXT NOT NULL,
  statement     TEXT NOT NULL,
  follows       TEXT NOT NULL,
  corrects      TEXT NOT NULL,
  chain         TEXT NOT NULL,
  number        INTEGER NOT NULL,
  seal          TEXT NOT NULL,
  signature     BLOB NOT NULL,
  packed_sha256 TEXT NOT NULL,
  body          BLOB NOT NULL
) STRICT;
INSERT INTO sealed_record
  SELECT id, kind, created, asset, serial, customer, model, statement, follows, '', '', 0, '', x'', '', CAST(body AS BLOB) FROM record;
DROP TABLE record;
ALTER TABLE sealed_record RENAME TO record;
CREATE INDEX record_created ON record (created);
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);
CREATE INDEX record_corrects ON record (corrects) WHERE corrects <> '';
CREATE UNIQUE INDEX record_chain ON record (chain, number) WHERE chain <> '';

-- +goose StatementBegin
CREATE TRIGGER record_is_final BEFORE UPDATE ON record
BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_stays BEFORE DELETE ON record
BEGIN SELECT RAISE(ABORT, 'a record is never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_is_not_replaced BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id OR chain <> '' AND chain = NEW.chain AND number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'a record is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
SELECT RAISE(ABORT, 'sealed records are not put back into a layout without seals; restore the backup');
