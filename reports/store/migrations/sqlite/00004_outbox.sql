-- +goose Up
-- Events on their way to receivers (webhook, mail). receiver is what the bench
-- file said of it, without secrets; times are texts whose order is time order.
CREATE TABLE outbox (
  seq        INTEGER PRIMARY KEY AUTOINCREMENT,
  address    TEXT NOT NULL,
  receiver   TEXT NOT NULL,
  once       TEXT NOT NULL,
  event      TEXT NOT NULL,
  added      TEXT NOT NULL,
  tries      INTEGER NOT NULL DEFAULT 0,
  next_try   TEXT NOT NULL,
  last_error TEXT NOT NULL DEFAULT '',
  given_up   INTEGER NOT NULL DEFAULT 0,
  delivered  TEXT NOT NULL DEFAULT '',
  UNIQUE (address, once)
) STRICT;
CREATE INDEX outbox_waiting ON outbox (address, seq) WHERE delivered = '' AND given_up = 0;

-- +goose Down
DROP TABLE outbox;
