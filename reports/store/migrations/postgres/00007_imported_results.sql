-- +goose Up
-- Results that were not measured with this program: the files they came in, kept
-- whole as body, and each line. sha256 of a result is that of what it says, so that no
-- result is there twice, in whatever file it comes.
CREATE TABLE imported_file (
  sha256       text COLLATE "C" PRIMARY KEY,
  name         text NOT NULL,
  imported     text COLLATE "C" NOT NULL,
  who          text NOT NULL,
  separator    text NOT NULL,
  decimal_mark text NOT NULL,
  body         bytea NOT NULL
);
CREATE TABLE imported_result (
  sha256 text COLLATE "C" PRIMARY KEY,
  file   text COLLATE "C" NOT NULL REFERENCES imported_file (sha256),
  line   bigint NOT NULL,
  asset  text COLLATE "C" NOT NULL,
  serial text COLLATE "C" NOT NULL,
  body   text NOT NULL
);
CREATE INDEX imported_result_asset ON imported_result (asset);
CREATE INDEX imported_result_serial ON imported_result (serial);
CREATE INDEX imported_result_file ON imported_result (file, line);
CREATE TRIGGER imported_file_is_final BEFORE UPDATE ON imported_file FOR EACH STATEMENT EXECUTE FUNCTION never('an imported file is never changed');
CREATE TRIGGER imported_file_stays BEFORE DELETE OR TRUNCATE ON imported_file FOR EACH STATEMENT EXECUTE FUNCTION never('an imported file is never removed');
CREATE TRIGGER imported_result_is_final BEFORE UPDATE ON imported_result FOR EACH STATEMENT EXECUTE FUNCTION never('an imported result is never changed');
CREATE TRIGGER imported_result_stays BEFORE DELETE OR TRUNCATE ON imported_result FOR EACH STATEMENT EXECUTE FUNCTION never('an imported result is never removed');

-- +goose Down
DROP TABLE imported_result;
DROP TABLE imported_file;
