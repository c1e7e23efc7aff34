-- +goose Up
-- Records are kept as their exact bytes, compressed (gzip), with seal and
-- signature. packed_sha256 is the hash of body as it lies here. chain names the
-- chains whose records are here; own is the one that this store adds to.
CREATE TABLE chain (
  id   text COLLATE "C" PRIMARY KEY,
  own  integer NOT NULL
);
CREATE UNIQUE INDEX chain_own ON chain (own) WHERE own = 1;

CREATE TABLE sealed_record (
  id            text COLLATE "C" PRIMARY KEY,
  kind          text COLLATE "C" NOT NULL,
  created       text COLLATE "C" NOT NULL,
  asset         text COLLATE "C" NOT NULL,
  serial        text COLLATE "C" NOT NULL,
  customer      text COLLATE "C" NOT NULL,
  model         text COLLATE "C" NOT NULL,
  statement     text COLLATE "C" NOT NULL,
  follows       text COLLATE "C" NOT NULL,
  corrects      text COLLATE "C" NOT NULL,
  chain         text COLLATE "C" NOT NULL,
  number        bigint NOT NULL,
  seal          text NOT NULL,
  signature     bytea NOT NULL,
  packed_sha256 text COLLATE "C" NOT NULL,
  body          bytea NOT NULL
);
INSERT INTO sealed_record
  SELECT id, kind, created, asset, serial, customer, model, statement, follows, '', '', 0, '', '', '', convert_to(body, 'UTF8') FROM record;
DROP TABLE record;
ALTER TABLE sealed_record RENAME TO record;
ALTER INDEX sealed_record_pkey RENAME TO record_pkey;
ALTER TABLE record ALTER COLUMN body SET STORAGE EXTERNAL; -- it is compressed
CREATE INDEX record_created ON record (created);
CREATE INDEX record_asset ON record (asset);
CREATE INDEX record_serial ON record (serial);
CREATE INDEX record_corrects ON record (corrects) WHERE corrects <> '';
CREATE UNIQUE INDEX record_chain ON record (chain, number) WHERE chain <> '';

CREATE TRIGGER record_is_final BEFORE UPDATE ON record FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never changed');
CREATE TRIGGER record_stays BEFORE DELETE OR TRUNCATE ON record FOR EACH STATEMENT EXECUTE FUNCTION never('a record is never removed');

-- +goose Down
-- +goose StatementBegin
DO $$ BEGIN RAISE EXCEPTION 'sealed records are not put back into a layout without seals; restore the backup'; END $$;
-- +goose StatementEnd
