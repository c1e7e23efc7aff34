package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"bandproof/reports/record"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// verifyFlags say what is held against what.
type verifyFlags struct {
	publicKeys, fingerprints []string
	head                     string
	count                    int
	json                     bool
}

func recordsVerify(t *terminal, file *string) *cobra.Command {
	var f verifyFlags
	c := &cobra.Command{
		Use:   "verify [RECORD|FILE.json|FILE.zip...]",
		Short: "prove the whole store, single records, record files or archives: nothing changed, added or taken out",
		Long: `Prove that nothing was changed, added or taken out since records were sealed:
the whole store, with each record and each chain; or single records with their
place in the chain; or record files, each with its .seal and .sig beside it; or
archives (records export --all).

A chain whose newest records were cut off is still whole. Head and number of
records, printed on each data sheet, show that (--head, --count). Who signed
is shown by the key's fingerprint, printed there too (--fingerprint), or by the
public key itself (--public-key). What was not given is said.

Exit code 0: what could be proven holds; 1: something does not; 3: the record
asked for has no seal, being from before there were any.`,
		RunE: func(c *cobra.Command, args []string) error {
			expect, err := f.expect(c, args)
			if err != nil {
				return usage{err}
			}
			if len(args) > 0 {
				return verifyEach(c, t, *file, args, expect, f.json)
			}
			return withStore(c, *file, func(s *store.Store) error {
				v, err := s.Verify(c.Context(), expect, t.proving())
				t.wipe()
				if err != nil {
					return err
				}
				return t.verified(v, f.json, false)
			})
		},
	}
	f.keyFlags(c)
	c.Flags().StringVar(&f.head, "head", "", "head of the chain, as printed on a data sheet; with --count")
	c.Flags().IntVar(&f.count, "count", 0, "number of records in the chain, as printed on the same data sheet; with --head")
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON (schema \"bandproof verification 1\"), one document for each argument")
	c.MarkFlagsRequiredTogether("head", "count")
	return c
}

var hashForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// keyFlags say whose keys are expected.
func (f *verifyFlags) keyFlags(c *cobra.Command) {
	c.Flags().StringArrayVar(&f.publicKeys, "public-key", nil, "file of the public key (PEM) that must have signed (may be given again)")
	c.Flags().StringArrayVar(&f.fingerprints, "fingerprint", nil, "fingerprint of the key that must have signed, as printed on a data sheet (may be given again)")
}

// keys are the fingerprints of the keys that are expected.
func (f verifyFlags) keys() (list []string, err error) {
	for _, file := range f.publicKeys {
		text, err := readable(file)
		if err != nil {
			return nil, fmt.Errorf("--public-key: %w", err)
		}
		key, err := record.ParsePublicPEM(text)
		if err != nil {
			return nil, fmt.Errorf("--public-key %s: %w", file, err)
		}
		list = append(list, record.Fingerprint(key))
	}
	for _, text := range f.fingerprints {
		print, err := record.ParseFingerprint(text)
		if err != nil {
			return nil, fmt.Errorf("--fingerprint: %w", err)
		}
		list = append(list, print)
	}
	return list, nil
}

func (f verifyFlags) expect(c *cobra.Command, args []string) (e record.Expect, err error) {
	if e.Keys, err = f.keys(); err != nil {
		return e, err
	}
	if !c.Flags().Changed("head") {
		return e, nil
	}
	e.Head, e.Count = strings.ToLower(strings.Join(strings.Fields(f.head), "")), f.count
	switch {
	case !hashForm.MatchString(e.Head):
		return e, fmt.Errorf("--head %q is no SHA-256; expected 64 hex digits", f.head)
	case e.Count < 1:
		return e, fmt.Errorf("--count %d: expected the number of records that the data sheet tells, 1 or more", f.count)
	case slices.ContainsFunc(args, func(a string) bool { return !strings.EqualFold(filepath.Ext(a), ".zip") }):
		return e, errors.New("--head and --count are of a whole store or archive; leave the records out")
	}
	return e, nil
}

// verifyEach proves records and files one after the other.
func verifyEach(c *cobra.Command, t *terminal, storeFile string, names []string, expect record.Expect, asJSON bool) error {
	var code int
	for _, name := range names {
		var v record.Verification
		var err error
		switch {
		case strings.EqualFold(filepath.Ext(name), ".zip"):
			v, err = store.VerifyArchive(c.Context(), name, expect)
		case isRecordFile(name):
			v, err = verifyFile(name, expect)
		default:
			err = withStore(c, storeFile, func(s *store.Store) (err error) {
				v, err = s.VerifyRecord(c.Context(), name, expect)
				return err
			})
		}
		if err != nil {
			return err
		}
		var o outcome
		switch err := t.verified(v, asJSON, true); {
		case errors.As(err, &o):
			code = worst(code, o.code)
		case err != nil:
			return err
		}
	}
	if code == exitOK {
		return nil
	}
	return outcome{code, nil}
}

// isRecordFile tells files from ids: no id has a dot or a slash.
func isRecordFile(name string) bool {
	return strings.ContainsAny(name, `./\`)
}

// verifyFile proves a record file by the seal beside it.
func verifyFile(name string, expect record.Expect) (record.Verification, error) {
	set, err := readSet(name)
	if err != nil {
		return record.Verification{}, usage{err}
	}
	w := record.NewVerifier(name, expect, true)
	w.Take(record.Examine(set.Kept()))
	v := w.Done("")
	if v.Proven > 0 {
		v.Open = append(v.Open, "which records stand before and behind it in its chain is not looked at: that is proven by the store, or by the seals of the others")
	}
	return v, nil
}

// readSet reads the record of a file, and seal and signature of the same name
// beside it, which may be missing. Named by one of those, the record is the .json.
func readSet(name string) (set record.FileSet, err error) {
	base := strings.TrimSuffix(name, filepath.Ext(name))
	if end := filepath.Ext(name); strings.EqualFold(end, ".seal") || strings.EqualFold(end, ".sig") {
		name = base + ".json"
	}
	set.Name = filepath.Base(name)
	if set.Record, err = readable(name); err != nil {
		return set, fmt.Errorf("record file: %w", err)
	}
	for _, f := range []struct {
		to   *[]byte
		name string
	}{{&set.Seal, base + ".seal"}, {&set.Signature, base + ".sig"}} {
		if *f.to, err = readable(f.name); err != nil && !errors.Is(err, os.ErrNotExist) {
			return set, fmt.Errorf("record file: %w", err)
		}
	}
	return set, nil
}

// proving shows how far a verification is, on a terminal.
func (t *terminal) proving() store.Progress {
	if !t.live || os.Getenv("TERM") == "dumb" {
		return nil
	}
	var shown int
	return func(done, of int) {
		if done*1000/max(of, 1) == shown && done != of {
			return
		}
		shown = done * 1000 / max(of, 1)
		_, _ = fmt.Fprintf(t.err, "\rproving: %d of %d records\x1b[K", done, of)
		t.drawn = true
	}
}

// verified shows what came out and turns it into the error with its exit code.
func (t *terminal) verified(v record.Verification, asJSON, single bool) error {
	if asJSON {
		if err := t.json(v); err != nil {
			return err
		}
	} else {
		t.verification(v, single)
	}
	switch {
	case !v.Holds():
		return outcome{exitFailed, nil}
	case single && v.Proven == 0:
		return outcome{exitOpen, nil}
	}
	return nil
}

// verification lays a verification out: what is wrong first.
func (t *terminal) verification(v record.Verification, single bool) {
	for _, f := range v.Findings {
		switch {
		case f.ID != "" && f.Number > 0:
			t.print("record %s (number %d): %s", shortID(f.ID), f.Number, f.Finding)
		case f.ID != "":
			t.print("record %s: %s", shortID(f.ID), f.Finding)
		default:
			t.print("%s", f.Finding)
		}
	}
	if v.MoreFindings > 0 {
		t.print("%d more findings", v.MoreFindings)
	}
	text := fmt.Sprintf("%s: %d proven", v.Of, v.Proven)
	if v.Wrong > 0 {
		text += fmt.Sprintf(", %d not as sealed", v.Wrong)
	}
	if v.Unsealed > 0 {
		text += fmt.Sprintf(", %d from before there were seals", v.Unsealed)
	}
	t.print("%s; %d in all", text, v.Records)
	for _, c := range v.Chains {
		own := ""
		if c.Own {
			own = ", to which this store adds"
		}
		if single {
			t.print("chain %s%s, up to number %d", c.ID, own, c.Last)
		} else {
			t.print("chain %s%s: %d, the last is number %d, head %s", c.ID, own, c.Count, c.Last, c.Head)
		}
	}
	for _, k := range v.Keys {
		expected := ""
		if k.Expected {
			expected = ", as expected"
		}
		t.print("signed by key %s%s: %d", k.Fingerprint, expected, k.Records)
	}
	for _, text := range v.Shown {
		t.print("%s", text)
	}
	for _, text := range v.Open {
		t.note("not proven: %s", text)
	}
	if v.Holds() {
		t.print("nothing was found that is not as it was sealed")
	} else {
		t.print("NOT AS SEALED: see above")
	}
}
