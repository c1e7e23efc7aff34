package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

// layoutTable keeps which migrations were done; a name of its own, because a
// database may serve several programs.
const layoutTable = "bandproof_layout"

// server is a PostgreSQL database: several benches may write to it at once.
func server() (*dialect, error) {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 120))
	if err != nil {
		return nil, err
	}
	return &dialect{name: goose.DialectPostgres, folder: "postgres", backup: backupOnServer, snapshot: sql.LevelRepeatableRead, endsWith: "right(record, length($1)) = $1",
		tail:      func(of string) string { return "right(" + of + ", 8)" },
		holds:     func(text, part string) string { return "strpos(" + text + ", " + part + ") > 0" },
		patience:  30 * time.Second,
		options:   []goose.ProviderOption{goose.WithSessionLocker(locker), goose.WithTableName(layoutTable)},
		lockChain: "SELECT pg_advisory_xact_lock(hashtext('bandproof chain ' || current_schema()))"}, nil
}

func openPostgres(ctx context.Context, place string) (*Store, error) {
	shown := Shown(place)
	config, err := pgx.ParseConfig(place)
	if err != nil {
		return nil, wrap(shown, "open", fmt.Errorf("%w: %w", ErrNotAStore, parseError(err)))
	}
	forEach(config)
	d, err := server()
	if err != nil {
		return nil, wrap(shown, "open", err)
	}
	s := &Store{db: stdlib.OpenDB(*config, stdlib.OptionAfterConnect(durable), stdlib.OptionShouldPing(stale)), file: shown, dialect: d}
	s.db.SetMaxOpenConns(4)
	s.db.SetConnMaxIdleTime(time.Minute)
	if err = s.examineServer(ctx); err != nil {
		err = wrap(shown, "open", err)
	} else {
		err = s.migrate(ctx)
	}
	if err != nil {
		_ = s.db.Close()
		return nil, err
	}
	return s, nil
}

// parseError is what is wrong with a URL, without the URL: it may hold a password.
func parseError(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return fmt.Errorf("it is no URL: %w; such as postgres://user@host/database", u.Err)
	}
	return err
}

// forEach sets what holds for each connection, unless the URL says otherwise.
func forEach(c *pgx.ConnConfig) {
	if c.ConnectTimeout == 0 {
		c.ConnectTimeout = 10 * time.Second
	}
	// A server that vanishes without a word is noticed within half a minute.
	dialer := &net.Dialer{Timeout: c.ConnectTimeout, KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 4}}
	c.DialFunc = dialer.DialContext
	for key, value := range map[string]string{"application_name": "bandproof", "statement_timeout": "60s", "lock_timeout": "20s", "idle_in_transaction_session_timeout": "10min", "jit": "off"} {
		if _, set := c.RuntimeParams[key]; !set {
			c.RuntimeParams[key] = value
		}
	}
}

// stale tells whether a connection has rested so long that it is asked for a sign of
// life first: after a restart of the server the next statement goes by a new one.
func stale(_ context.Context, p stdlib.ShouldPingParams) bool {
	return p.IdleDuration > 100*time.Millisecond
}

// durable makes sure that what is acknowledged on a connection is on the server's disk.
func durable(ctx context.Context, c *pgx.Conn) error {
	var commit string
	if err := c.QueryRow(ctx, "SHOW synchronous_commit").Scan(&commit); err != nil {
		return err
	}
	if commit == "off" {
		_, err := c.Exec(ctx, "SET synchronous_commit = on")
		return err
	}
	return nil
}

// examineServer refuses a database that would lose what it is given.
func (s *Store) examineServer(ctx context.Context) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	var encoding, fsync, pages string
	err := s.db.QueryRowContext(ctx, "SELECT current_setting('server_encoding'), current_setting('fsync'), current_setting('full_page_writes')").Scan(&encoding, &fsync, &pages)
	switch {
	case err != nil:
		return err
	case encoding != "UTF8":
		return fmt.Errorf("%w: the database keeps texts in %s; make one with encoding UTF8", ErrNotAStore, encoding)
	case fsync != "on" || pages != "on":
		return fmt.Errorf("%w: the server would lose what it has acknowledged when its power is cut (fsync is %s, full_page_writes is %s); both must be on", ErrNotAStore, fsync, pages)
	}
	return nil
}

// backupOnServer copies every table into a schema of its own, in one transaction.
func backupOnServer(ctx context.Context, s *Store, to int64) (string, error) {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return "", err
	}
	defer func() { _ = tx.Rollback() }() // of no effect once it is committed
	if _, err := tx.ExecContext(ctx, "SET LOCAL statement_timeout = 0"); err != nil {
		return "", err
	}
	if _, err := tx.ExecContext(ctx, s.dialect.lockChain); err != nil {
		return "", err
	}
	schema, err := freeSchema(ctx, tx, to)
	if err != nil {
		return "", err
	}
	tables, err := tablesOf(ctx, tx)
	if err != nil {
		return "", err
	}
	quoted := pgx.Identifier{schema}.Sanitize()
	if _, err := tx.ExecContext(ctx, "CREATE SCHEMA "+quoted); err != nil {
		return "", err
	}
	for _, t := range tables {
		name := pgx.Identifier{t}.Sanitize()
		if _, err := tx.ExecContext(ctx, "CREATE TABLE "+quoted+"."+name+" AS TABLE "+name); err != nil {
			return "", err
		}
	}
	return "schema " + schema + " of the same database", tx.Commit()
}

// freeSchema is a name that no schema has.
func freeSchema(ctx context.Context, tx *sql.Tx, to int64) (string, error) {
	for k := 1; ; k++ {
		name := fmt.Sprintf("before_%05d", to)
		if k > 1 {
			name = fmt.Sprintf("%s_%d", name, k)
		}
		var taken bool
		if err := tx.QueryRowContext(ctx, "SELECT to_regnamespace($1) IS NOT NULL", name).Scan(&taken); err != nil || !taken {
			return name, err
		}
	}
}

func tablesOf(ctx context.Context, tx *sql.Tx) (list []string, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT tablename FROM pg_tables WHERE schemaname = current_schema() ORDER BY tablename")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		list = append(list, name)
	}
	return list, rows.Err()
}
