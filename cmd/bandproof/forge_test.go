package main

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"io"

	"bandproof/reports/record"

	"github.com/rogpeppe/go-internal/testscript"
)

// forge STORE STATEMENT... does to a store what somebody with the file may do,
// without the triggers that guard against mistakes.
func forge(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: forge STORE STATEMENT...")
	}
	db := unguarded(ts, args[0])
	for _, q := range args[1:] {
		_, err := db.Exec(q)
		ts.Check(err)
	}
	ts.Check(db.Close())
}

// tamper STORE OLD NEW changes the first OLD in the newest record that has it.
func tamper(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: tamper STORE OLD NEW")
	}
	db := unguarded(ts, args[0])
	rows, err := db.Query("SELECT id, body FROM record ORDER BY created DESC")
	ts.Check(err)
	id, changed := "", []byte(nil)
	for rows.Next() && id == "" {
		var one string
		var packed []byte
		ts.Check(rows.Scan(&one, &packed))
		r, err := gzip.NewReader(bytes.NewReader(packed))
		ts.Check(err)
		body, err := io.ReadAll(r)
		ts.Check(err)
		if bytes.Contains(body, []byte(args[1])) {
			id, changed = one, bytes.Replace(body, []byte(args[1]), []byte(args[2]), 1)
		}
	}
	ts.Check(rows.Close())
	if id == "" {
		ts.Fatalf("no record has %q", args[1])
	}
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err = w.Write(changed)
	ts.Check(err)
	ts.Check(w.Close())
	_, err = db.Exec("UPDATE record SET body = ?, packed_sha256 = ? WHERE id = ?", b.Bytes(), record.Hash(b.Bytes()), id)
	ts.Check(err)
	ts.Check(db.Close())
}

func unguarded(ts *testscript.TestScript, file string) *sql.DB {
	db, err := sql.Open("sqlite", "file:"+ts.MkAbs(file)+"?_pragma=busy_timeout(5000)")
	ts.Check(err)
	for _, name := range []string{"record_is_final", "record_stays", "record_is_not_replaced"} {
		_, err := db.Exec("DROP TRIGGER IF EXISTS " + name)
		ts.Check(err)
	}
	return db
}
