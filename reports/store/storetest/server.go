// Package storetest starts PostgreSQL servers for tests.
package storetest

import (
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
	"github.com/stretchr/testify/require"
)

// Server is a PostgreSQL cluster of its own that is gone after the test. It
// listens on a socket in its folder only.
type Server struct {
	dir, bin string
	root     bool // the tests run as root, whom PostgreSQL does not serve
	schemas  atomic.Int64
}

// NewServer makes and starts a cluster. Where the programs are not installed the
// test fails, or is left out with BANDPROOF_NO_PEERS=1.
func NewServer(tb testing.TB) *Server {
	tb.Helper()
	bin := programs()
	if bin == "" {
		if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
			tb.Skip("NOT TESTED with PostgreSQL: no initdb, and BANDPROOF_NO_PEERS=1 is set")
		}
		tb.Fatal("initdb is needed (apt-get install postgresql; or set BANDPROOF_NO_PEERS=1 to go without)")
	}
	dir, err := os.MkdirTemp("", "pg") // short: a socket's name has at most 107 bytes
	require.NoError(tb, err)
	s := &Server{dir: dir, bin: bin, root: os.Getuid() == 0}
	tb.Cleanup(func() { _ = os.RemoveAll(dir) })
	if s.root {
		u, err := user.Lookup("postgres")
		require.NoError(tb, err, "tests as root need the user postgres, whom the package makes")
		uid, err := strconv.Atoi(u.Uid)
		require.NoError(tb, err)
		gid, err := strconv.Atoi(u.Gid)
		require.NoError(tb, err)
		require.NoError(tb, os.Chown(dir, uid, gid))
	}
	s.must(tb, "initdb", "-D", filepath.Join(dir, "data"), "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8")
	s.Start(tb)
	tb.Cleanup(func() {
		_ = s.command("pg_ctl", "stop", "-D", filepath.Join(dir, "data"), "-m", "immediate", "-w").Run()
	})
	return s
}

func programs() string {
	if file, err := exec.LookPath("initdb"); err == nil {
		if real, err := filepath.EvalSymlinks(file); err == nil {
			return filepath.Dir(real)
		}
	}
	list, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(list) == 0 {
		return ""
	}
	return filepath.Dir(list[len(list)-1])
}

// command runs a program of PostgreSQL's as one whom it serves.
func (s *Server) command(name string, args ...string) *exec.Cmd {
	full := append([]string{filepath.Join(s.bin, name)}, args...)
	if s.root {
		full = append([]string{"runuser", "-u", "postgres", "--"}, full...)
	}
	c := exec.Command(full[0], full[1:]...)
	c.Dir = s.dir
	return c
}

func (s *Server) must(tb testing.TB, name string, args ...string) {
	tb.Helper()
	out, err := s.command(name, args...).CombinedOutput()
	require.NoError(tb, err, "%s: %s", name, out)
}

// Start starts a cluster that was made, stopped or killed. What it has
// acknowledged is on disk, as on a server of one's own.
func (s *Server) Start(tb testing.TB, options ...string) {
	tb.Helper()
	all := append([]string{"-c listen_addresses=", "-c unix_socket_directories=" + s.dir, "-c max_connections=60"}, options...)
	log := filepath.Join(s.dir, "log")
	if out, err := s.command("pg_ctl", "start", "-D", filepath.Join(s.dir, "data"), "-l", log, "-w", "-o", strings.Join(all, " ")).CombinedOutput(); err != nil {
		text, _ := os.ReadFile(log) // for the message alone
		tb.Fatalf("pg_ctl start: %v: %s\n%s", err, out, text)
	}
}

// Stop ends the server in the given mode: "fast" as an administrator does,
// "immediate" without ceremony.
func (s *Server) Stop(tb testing.TB, mode string) {
	tb.Helper()
	s.must(tb, "pg_ctl", "stop", "-D", filepath.Join(s.dir, "data"), "-m", mode, "-w")
}

// Kill kills the server and all of its processes at once, as a power cut does.
func (s *Server) Kill(tb testing.TB) {
	tb.Helper()
	pid := s.pid(tb)
	for _, p := range append(children(pid), pid) {
		if process, err := os.FindProcess(p); err == nil {
			_ = process.Kill() // it may be gone by itself
		}
	}
	require.Eventually(tb, func() bool { // a new one does not start while its process is there
		_, err := os.Stat(fmt.Sprintf("/proc/%d", pid))
		return err != nil
	}, 10*time.Second, 10*time.Millisecond)
}

// children are the processes that a process has started.
func children(pid int) (list []int) {
	files, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	for _, f := range files {
		text, _ := os.ReadFile(f)
		for _, p := range strings.Fields(string(text)) {
			if n, err := strconv.Atoi(p); err == nil {
				list = append(list, n)
			}
		}
	}
	return list
}

// pid is the process of the server.
func (s *Server) pid(tb testing.TB) int {
	tb.Helper()
	text, err := os.ReadFile(filepath.Join(s.dir, "data", "postmaster.pid"))
	require.NoError(tb, err)
	line, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(line)
	require.NoError(tb, err)
	return pid
}

// URL is the address of the server's first database.
func (s *Server) URL() string {
	return "postgres:///postgres?host=" + url.QueryEscape(s.dir) + "&user=bench"
}

// Place makes an empty schema and returns the URL of a store in it.
func (s *Server) Place(tb testing.TB) string {
	tb.Helper()
	name := fmt.Sprintf("t%d", s.schemas.Add(1))
	db := s.DB(tb)
	_, err := db.Exec("CREATE SCHEMA " + name)
	require.NoError(tb, err)
	return s.URL() + "&search_path=" + name
}

// DB is the server past the store, for a look behind it.
func (s *Server) DB(tb testing.TB) *sql.DB { return Open(tb, s.URL()) }

// Open opens a database at a URL past the store.
func Open(tb testing.TB, place string) *sql.DB {
	tb.Helper()
	db, err := sql.Open("pgx", place)
	require.NoError(tb, err)
	tb.Cleanup(func() { _ = db.Close() })
	return db
}
