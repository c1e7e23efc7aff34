-- +goose Up
-- Events on their way to receivers (webhook, mail). receiver is what the bench
-- file said of it, without secrets; times are texts whose order is time order.
CREATE TABLE outbox (
  seq        bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  address    text COLLATE "C" NOT NULL,
  receiver   text NOT NULL,
  once       text COLLATE "C" NOT NULL,
  event      text NOT NULL,
  added      text COLLATE "C" NOT NULL,
  tries      integer NOT NULL DEFAULT 0,
  next_try   text COLLATE "C" NOT NULL,
  last_error text NOT NULL DEFAULT '',
  given_up   integer NOT NULL DEFAULT 0,
  delivered  text COLLATE "C" NOT NULL DEFAULT '',
  UNIQUE (address, once)
);
CREATE INDEX outbox_waiting ON outbox (address, seq) WHERE delivered = '' AND given_up = 0;

-- +goose Down
DROP TABLE outbox;
