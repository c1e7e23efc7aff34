package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bandproof/reports/dcc"
	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// certificateJob is what "bandproof dcc" was asked for.
type certificateJob struct {
	store, to, country string
	certificate, key   string // PEM files
	withoutSheet       bool
	style              sheet.Options
	signer             *dcc.Signer
	records            []record.Record
}

func dccCommand(t *terminal) *cobra.Command {
	var j certificateJob
	c := &cobra.Command{
		Use:   "dcc RECORD...",
		Short: "write a Digital Calibration Certificate (XML) of one or more runs of a unit",
		Long: "Write the runs of a unit (as-found, after-repair, as-left) as a Digital Calibration Certificate: XML by the open schema, version 3.1.2, " +
			"quantities in D-SI, the data sheet enclosed as PDF.\nA RECORD is the id of a record in the store, or a record file (JSON). " +
			"What ISO/IEC 17025 wants and the records lack is named on standard error.",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{errors.New("dcc takes at least one record; \"records list\" shows what there is")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) (err error) {
			if strings.ToLower(filepath.Ext(j.to)) != ".xml" {
				return usage{fmt.Errorf("--to %s: a certificate is written as .xml", j.to)}
			}
			if err := j.openSigner(time.Now()); err != nil {
				return usage{err}
			}
			if j.records, err = findRecords(c, j.store, args); err != nil {
				return err
			}
			s, err := newSheet(j.records, j.style)
			if err != nil {
				return err
			}
			if s, err = findSeals(c, t, s, j.store, args, j.records); err != nil {
				return err
			}
			if id := s.Withdrawn(); id != "" {
				return usage{fmt.Errorf("no certificate of record %s: it was withdrawn; that of the record that withdraws it says so", id)}
			}
			if !j.withoutSheet {
				if s, err = findLogo(c, t, s, j.store, ""); err != nil {
					return err
				}
			}
			return j.write(c.Context(), t, s)
		},
	}
	storeFlag(c, &j.store, false, "the records")
	c.Flags().StringVar(&j.to, "to", "certificate.xml", "file to write, ending in .xml")
	c.Flags().StringVar(&j.country, "country", "", "country of the laboratory, two letters (ISO 3166-1), in the place of what the bench file of the record says")
	c.Flags().BoolVar(&j.withoutSheet, "no-pdf", false, "leave the data sheet out")
	c.Flags().StringVar(&j.certificate, "sign-certificate", "", "PEM file with an X.509 certificate: an XML signature is written beside the file, as FILE.sig.xml")
	c.Flags().StringVar(&j.key, "sign-key", "", "PEM file with the private key of that certificate (RSA or ECDSA, no passphrase)")
	c.MarkFlagsRequiredTogether("sign-certificate", "sign-key")
	styleFlags(c, &j.style)
	return c
}

// openSigner reads certificate and key before anything is written.
func (j *certificateJob) openSigner(now time.Time) error {
	if j.certificate == "" {
		return nil
	}
	certificate, err := os.ReadFile(j.certificate)
	if err != nil {
		return fmt.Errorf("--sign-certificate: %w", err)
	}
	key, err := os.ReadFile(j.key)
	if err != nil {
		return fmt.Errorf("--sign-key: %w", err)
	}
	if j.signer, err = dcc.NewSigner(certificate, key, now); err != nil {
		return fmt.Errorf("--sign-certificate %s, --sign-key %s: %w", j.certificate, j.key, err)
	}
	return nil
}

// write writes the certificate and, where asked for, its signature.
func (j *certificateJob) write(ctx context.Context, t *terminal, s *sheet.Sheet) error {
	o := dcc.Options{Country: strings.ToUpper(j.country), Hashes: j.hashes()}
	j.fromStore(ctx, o.Hashes)
	if !j.withoutSheet {
		var pdf bytes.Buffer
		if err := s.PDF(&pdf); err != nil {
			return fmt.Errorf("data sheet: %w", err)
		}
		o.PDF, o.FileName = pdf.Bytes(), strings.TrimSuffix(filepath.Base(j.to), filepath.Ext(j.to))+".pdf"
	}
	x, err := dcc.New(o, j.records...)
	if err != nil {
		return usage{err}
	}
	digest := sha256.New()
	if err := writeFileBy(j.to, func(w io.Writer) error { return x.Write(ctx, io.MultiWriter(w, digest)) }); err != nil {
		return usage{err}
	}
	t.print("wrote %s", j.to)
	for _, m := range x.Missing() {
		t.note("missing: %s", m)
	}
	if j.signer == nil {
		return nil
	}
	signature := j.to + ".sig.xml"
	if err := writeFileBy(signature, func(w io.Writer) error { return j.signer.Detached(w, filepath.Base(j.to), digest.Sum(nil)) }); err != nil {
		return usage{err}
	}
	t.print("wrote %s", signature)
	return nil
}

// hashes are those of the records' bytes. A record of the first schema has no
// bytes of its own that all agree on, and so no hash here.
func (j *certificateJob) hashes() map[string]string {
	list := map[string]string{}
	for _, r := range j.records {
		if text, err := r.Encode(); err == nil && r.Schema == record.Schema {
			list[r.ID] = hexHash(text)
		}
	}
	return list
}

func hexHash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// fromStore adds the hash of a record that one of these takes the place of.
// Record files need no store: one that can't be opened is passed over.
func (j *certificateJob) fromStore(ctx context.Context, hashes map[string]string) {
	if isThere(j.store) != nil {
		return
	}
	s, err := store.OpenToRead(ctx, j.store)
	if err != nil {
		return
	}
	defer func() { _ = s.Close() }()
	for _, r := range j.records {
		if r.Corrects != nil {
			if old, err := s.Sealed(ctx, r.Corrects.ID); err == nil {
				hashes[r.Corrects.ID] = hexHash(old.Bytes)
			}
		}
	}
}
