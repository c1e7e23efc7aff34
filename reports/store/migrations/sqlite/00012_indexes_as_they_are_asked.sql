-- +goose Up
-- Here they are already.
SELECT 1;

-- +goose Down
SELECT 1;
