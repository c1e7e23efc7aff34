package main

import (
	"bufio"
	"context"
	"crypto/ed25519"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"bandproof/drivers/virtual"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

// testKey signs what tests keep in their own process.
var testKey = ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))

func TestMain(m *testing.M) {
	testscript.Main(apart{m}, map[string]func(){"bandproof": main})
}

// scratchVariable names the folder that lasts as long as all tests of this package.
const scratchVariable = "BANDPROOF_TEST_SCRATCH"

// apart keeps what tests leave behind apart from what is the user's.
type apart struct{ *testing.M }

func (m apart) Run() int {
	scratch, err := os.MkdirTemp("", "bandproof-test-")
	if err != nil {
		panic(err)
	}
	defer func() { _ = os.RemoveAll(scratch) }()
	for name, value := range map[string]string{
		scratchVariable:    scratch,
		"BANDPROOF_CLAIMS": filepath.Join(scratch, "claims"),
		keyVariable:        filepath.Join(scratch, "keys", "signing-key"),
	} {
		if err := os.Setenv(name, value); err != nil {
			panic(err)
		}
	}
	return m.M.Run()
}

// TestScripts runs every way of using the program, and every mistake, as a
// person would: each file of testdata/script is one.
func TestScripts(t *testing.T) {
	fixtures, err := filepath.Abs("../../procedures/testdata")
	require.NoError(t, err)
	demo, err := filepath.Abs("demo")
	require.NoError(t, err)
	switched, err := filepath.Abs("../../testdata/switched")
	require.NoError(t, err)
	kinds, err := filepath.Abs("../../testdata/kinds")
	require.NoError(t, err)
	models, err := filepath.Abs("testdata/isolate")
	require.NoError(t, err)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Vars = append(e.Vars, "FIXTURES="+fixtures, "DEMO="+demo, "SWITCHED="+switched, "KINDS="+kinds, "MODELS="+models, "BANDPROOF_CLAIMS="+filepath.Join(e.WorkDir, "claims"), keyVariable+"="+filepath.Join(e.WorkDir, "keys", "signing-key"))
			return chooseProgram(e)
		},
		Cmds:                map[string]func(ts *testscript.TestScript, neg bool, args []string){"exitcode": exitcode, "bench": serveInProcess, "receiver": serveReceiver, "benchfile": writeBenchFile, "killed": killed, "forge": forge, "tamper": tamper},
		UpdateScripts:       os.Getenv("UPDATE_SCRIPTS") != "",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
	})
}

// exitcode N COMMAND ARGS... runs a command and holds its exit code.
func exitcode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exitcode N command args...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if err != nil {
		got = err.Error()[len("exit status "):]
	}
	if got != args[0] {
		ts.Fatalf("%v: exit code %s, want %s", args[1:], got, args[0])
	}
}

// bench serves the built-in virtual bench until the script ends; $COUNTER, $LF
// and $MW are the resource names of its instruments.
func serveInProcess(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) > 0 {
		ts.Fatalf("usage: bench")
	}
	s, err := virtual.DefaultScenario()
	ts.Check(err)
	clock, err := virtual.NewScaledClock(500)
	ts.Check(err)
	b, err := virtual.New(s, virtual.Options{Clock: clock, Follow: true})
	ts.Check(err)
	ctx, cancel := context.WithCancel(context.Background())
	var serving sync.WaitGroup
	ts.Defer(func() {
		cancel()
		serving.Wait()
		_ = b.Close()
	})
	for _, i := range b.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		ts.Check(err)
		serving.Go(func() { _ = b.ServeListener(ctx, i.Name, l) })
		_, port, err := net.SplitHostPort(l.Addr().String())
		ts.Check(err)
		ts.Setenv(strings.ToUpper(i.Name), "TCPIP0::127.0.0.1::"+port+"::SOCKET")
		ts.Setenv(strings.ToUpper(i.Name)+"_AT", l.Addr().String())
	}
}

// receiver NAME serves a web server that takes events until the script ends;
// $NAME is its address, and each document is a line of NAME.jsonl. "receiver
// NAME CODE" answers with that code and keeps nothing.
func serveReceiver(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: receiver NAME [CODE]")
	}
	code := http.StatusOK
	if len(args) == 2 {
		var err error
		code, err = strconv.Atoi(args[1])
		ts.Check(err)
	}
	file := ts.MkAbs(args[0] + ".jsonl")
	ts.Check(os.WriteFile(file, nil, 0o644))
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, err := io.ReadAll(q.Body)
		if err == nil && code == http.StatusOK {
			var f *os.File
			if f, err = os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0o644); err == nil {
				_, err = f.Write(append(body, '\n'))
				err = errors.Join(err, f.Close())
			}
		}
		if err != nil {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		w.WriteHeader(code)
	}))
	ts.Defer(server.Close)
	ts.Setenv(args[0], server.URL)
}

// benchfile FILE writes the demo's bench file with the addresses that bench
// serves, and its logo beside it.
func writeBenchFile(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: benchfile FILE")
	}
	data, err := os.ReadFile("demo/bench.toml")
	ts.Check(err)
	text := string(data)
	for name, was := range map[string]string{"COUNTER": "5025", "LF": "5026", "MW": "5027"} {
		text = strings.Replace(text, "TCPIP0::127.0.0.1::"+was+"::SOCKET", ts.Getenv(name), 1)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o644))
	logo, err := os.ReadFile("demo/logo.png")
	ts.Check(err)
	ts.Check(os.WriteFile(filepath.Join(filepath.Dir(ts.MkAbs(args[0])), "logo.png"), logo, 0o644))
}

// killed TEXT ARGS... runs bandproof with Enter at every prompt and kills it once
// its standard error shows the text.
func killed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: killed TEXT args...")
	}
	program := ""
	for _, dir := range filepath.SplitList(ts.Getenv("PATH")) {
		if file := filepath.Join(dir, "bandproof"); program == "" {
			if _, err := os.Stat(file); err == nil {
				program = file
			}
		}
	}
	c := exec.Command(program, args[1:]...)
	c.Dir = ts.MkAbs(".")
	c.Env = append(os.Environ(), "BANDPROOF_CLAIMS="+ts.Getenv("BANDPROOF_CLAIMS"))
	c.Stdin = strings.NewReader(strings.Repeat("\n", 20))
	said, err := c.StderrPipe()
	ts.Check(err)
	ts.Check(c.Start())
	seen := false
	for s := bufio.NewScanner(said); s.Scan(); {
		if !seen && strings.Contains(s.Text(), args[0]) {
			seen = true
			ts.Check(c.Process.Kill())
		}
	}
	_ = c.Wait() // killed
	if !seen {
		ts.Fatalf("%q was never seen", args[0])
	}
}
