package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	sqlite3 "modernc.org/sqlite/lib"
)

// plain adds to an error of a database what it means and what can be done.
func plain(err error) error {
	var p *pgconn.PgError
	var c *pgconn.ConnectError
	var n *net.OpError
	switch {
	case err == nil, errors.Is(err, ErrDamaged), errors.Is(err, ErrNotAStore), errors.Is(err, context.Canceled):
		return err
	case errors.As(err, &p):
		if hint := serverHint(p); hint != "" {
			return fmt.Errorf("%w; %s", err, hint)
		}
		return err
	case errors.As(err, &c):
		return fmt.Errorf("%w; is the server running, and is it the one in the URL?", oneLine{err})
	case errors.As(err, &n), pgconn.Timeout(err), pgconn.SafeToRetry(err), errors.Is(err, pgconn.ErrConnClosed), isCutOff(err):
		return fmt.Errorf("%w; the server can't be reached any more: what it had acknowledged is kept", err)
	}
	return plainSQLite(err)
}

// oneLine is an error that tells of each address it tried on a line of its own, and
// of the same twice where it was tried with and without encryption.
type oneLine struct{ error }

func (e oneLine) Unwrap() error { return e.error }

func (e oneLine) Error() string {
	var parts []string
	for line := range strings.Lines(e.error.Error()) {
		if line = strings.TrimSpace(line); line != "" && !slices.Contains(parts, line) {
			parts = append(parts, line)
		}
	}
	return strings.Join(parts, " ")
}

// isCutOff tells whether the server has gone in the middle of an answer; a packed
// text or an archive that ends too soon says so of itself.
func isCutOff(err error) bool {
	return errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, ErrArchive) && !strings.Contains(err.Error(), "damaged")
}

func plainSQLite(err error) error {
	switch sqliteCode(err) {
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w; what was kept before is safe: make room", err)
	case sqlite3.SQLITE_CORRUPT:
		return fmt.Errorf("%w (%w); %s", ErrDamaged, err, afterDamage)
	case sqlite3.SQLITE_BUSY:
		return fmt.Errorf("%w; another program has held it for more than 5 s", err)
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN:
		return fmt.Errorf("%w; it can't be written: who may write the file and its folder?", err)
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("%w; the disk fails or is full: what was kept before is safe as far as the disk is", err)
	}
	return err
}

// serverHint says what an answer of the server asks for. The codes are those of
// appendix A of the PostgreSQL documentation.
func serverHint(p *pgconn.PgError) string {
	switch p.Code {
	case "28P01", "28000":
		return "the password may stand in PGPASSWORD or ~/.pgpass"
	case "3D000":
		return "make the database first: createdb"
	case "42501":
		return "the user of the URL may not do that; the owner of the database has to let it"
	case "25006":
		return "the server takes no writes: is it a standby?"
	case "53100":
		return "what was kept before is safe: make room on the server"
	case "57014":
		return "the server gave up after the time that a statement may take"
	case "57P01", "57P02", "57P03":
		return "the server was stopped or is starting: what it had acknowledged is kept"
	}
	return ""
}
