-- +goose Up
-- Lists are taken from listed: nothing looks for a record by its time any more.
DROP INDEX record_created;

-- +goose Down
CREATE INDEX record_created ON record (created);
