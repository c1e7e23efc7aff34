-- +goose Up
-- INSERT OR REPLACE takes a row away without the triggers that guard against that.
-- +goose StatementBegin
CREATE TRIGGER record_is_not_replaced BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'a record is never replaced'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER journal_is_not_replaced BEFORE INSERT ON journal
WHEN EXISTS (SELECT 1 FROM journal WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'a journal entry is never replaced'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER wire_log_is_not_replaced BEFORE INSERT ON wire_log
WHEN EXISTS (SELECT 1 FROM wire_log WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'a wire log is never replaced'); END;
-- +goose StatementEnd

-- +goose Down
DROP TRIGGER record_is_not_replaced;
DROP TRIGGER journal_is_not_replaced;
DROP TRIGGER wire_log_is_not_replaced;
