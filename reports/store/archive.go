package store

import (
	"archive/zip"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"bandproof/reports/record"
)

// ErrArchive: the file is no archive of ours, or is not whole.
var ErrArchive = errors.New("is no whole archive")

// ArchiveSchema names the version of an archive's layout.
const ArchiveSchema = "bandproof archive 1"

// Names in an archive. Its members are named in SHA256SUMS, in the form that
// sha256sum reads, and that file in the manifest.
const (
	archiveManifest = "manifest.json"
	archiveSums     = "SHA256SUMS"
	archiveReadme   = "README.txt"
	archiveBenchLog = "bench-log.jsonl"
	archiveImported = "imported.jsonl"
)

// members are the only names that an archive may have beside manifest and sums.
var members = regexp.MustCompile(`^(README\.txt|bench-log\.jsonl|imported\.jsonl|records/[0-9]{6,}-[0-9A-Za-z-]{1,40}\.(json|seal|sig)|runs/[0-9]{6,}-[0-9A-Za-z-]{1,40}\.(jsonl|wire\.gz)|keys/[0-9a-f-]{19}\.pem|(imported|logos)/[0-9a-f]{64})$`)

const (
	// A member is read at once where it is a record; one that says it is longer is refused.
	mostMember = 1 << 30
	// Deflate makes at most some 1000 bytes of one; what is in an archive some 50.
	mostRatio = 500
	// mostLine is the longest line of a member that has lines.
	mostLine = 256 << 20
)

// Manifest says what an archive holds.
type Manifest struct {
	Schema  string    `json:"schema"`
	Program string    `json:"program"` // its version
	Made    time.Time `json:"made"`
	// Whole: everything that the store held then.
	Whole    bool            `json:"whole"`
	Records  int             `json:"records"`
	Unsealed int             `json:"unsealed_records"` // those of Records from before there were seals
	Runs     int             `json:"runs"`             // journals
	Chains   []ArchivedChain `json:"chains"`
	// LeftOut are records that could not be read (salvage).
	LeftOut []LeftOut `json:"left_out,omitempty"`
	// Sums is the SHA-256 of the member SHA256SUMS.
	Sums string `json:"sha256sums"`
}

// ArchivedChain is a chain of which records are in an archive.
type ArchivedChain struct {
	Head
	Records int `json:"records"` // of it in the archive
}

// LeftOut is a record that could not be read, and why.
type LeftOut struct {
	Record string `json:"record"`
	Why    string `json:"why"`
}

// archiveWriter writes members one after the other; only their names and sums
// are kept.
type archiveWriter struct {
	zip  *zip.Writer
	file *os.File
	sums *os.File
	made time.Time
}

// newArchive begins an archive in a folder of its own, which abandon takes away.
func newArchive(to string, now time.Time) (a *archiveWriter, dir string, err error) {
	if _, err := os.Lstat(to); err == nil {
		return nil, "", ErrExists
	}
	if dir, err = os.MkdirTemp(filepath.Dir(to), ".bandproof-*"); err != nil {
		return nil, "", err
	}
	a = &archiveWriter{made: now}
	if a.file, err = os.Create(filepath.Join(dir, "archive")); err == nil {
		a.sums, err = os.Create(filepath.Join(dir, "sums"))
	}
	if err != nil {
		return nil, dir, err
	}
	a.zip = zip.NewWriter(a.file)
	return a, dir, nil
}

// member writes one member; what is packed already is stored as it is. Where
// writing it fails, the part that there is stays a member.
func (a *archiveWriter) member(name string, packed bool, write func(io.Writer) error) error {
	sum, err := a.add(name, packed, write)
	if sum != "" {
		_, e := fmt.Fprintf(a.sums, "%s  %s\n", sum, name)
		err = errors.Join(err, e)
	}
	return err
}

func (a *archiveWriter) add(name string, packed bool, write func(io.Writer) error) (string, error) {
	h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: a.made.UTC()}
	if packed {
		h.Method = zip.Store
	}
	h.SetMode(0o644)
	w, err := a.zip.CreateHeader(h)
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	if err = write(io.MultiWriter(w, sum)); err != nil {
		err = fmt.Errorf("%s: %w", name, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), err
}

// bytes writes a member that is at hand.
func (a *archiveWriter) bytes(name string, text []byte) error {
	return a.member(name, false, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}

// finish writes sums and manifest, and brings all of it to disk.
func (a *archiveWriter) finish(m Manifest) error {
	if _, err := a.sums.Seek(0, io.SeekStart); err != nil {
		return err
	}
	sum, err := a.add(archiveSums, false, func(w io.Writer) error {
		_, err := io.Copy(w, a.sums)
		return err
	})
	if err != nil {
		return err
	}
	m.Sums = sum
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	if _, err := a.add(archiveManifest, false, func(w io.Writer) error {
		_, err := w.Write(append(text, '\n'))
		return err
	}); err != nil {
		return err
	}
	return errors.Join(a.zip.Close(), a.file.Sync())
}

func (a *archiveWriter) close() error { return errors.Join(a.file.Close(), a.sums.Close()) }

// archiveReader reads an archive whose members were checked to be those that
// manifest and sums name.
type archiveReader struct {
	file     *os.File
	names    []string // in the order of the sums
	members  map[string]*zip.File
	sums     map[string]string
	manifest Manifest
}

// openArchive reads what an archive says of itself.
func openArchive(name string) (*archiveReader, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	a := &archiveReader{file: f, members: map[string]*zip.File{}, sums: map[string]string{}}
	if err := a.readNames(); err != nil {
		return nil, errors.Join(fmt.Errorf("%w: %w", ErrArchive, err), f.Close())
	}
	return a, nil
}

func (a *archiveReader) readNames() error {
	info, err := a.file.Stat()
	if err != nil {
		return err
	}
	z, err := zip.NewReader(a.file, info.Size())
	if err != nil {
		return fmt.Errorf("%w; was it copied to its end?", err)
	}
	for _, m := range z.File {
		if m.Name != archiveManifest && m.Name != archiveSums && !members.MatchString(m.Name) {
			return fmt.Errorf("member %q belongs into no archive", m.Name)
		}
		if _, twice := a.members[m.Name]; twice {
			return fmt.Errorf("member %s is there twice", m.Name)
		}
		if m.UncompressedSize64 > mostRatio*m.CompressedSize64+4096 {
			return fmt.Errorf("member %s would unpack to %d bytes from %d: nothing that belongs into an archive does", m.Name, m.UncompressedSize64, m.CompressedSize64)
		}
		a.members[m.Name] = m
	}
	if err := a.readManifest(); err != nil {
		return err
	}
	return a.readSums()
}

func (a *archiveReader) readManifest() error {
	text, err := a.all(archiveManifest, 16<<20)
	if err != nil {
		return err
	}
	var head struct{ Schema string }
	if err := json.Unmarshal(text, &head); err != nil {
		return fmt.Errorf("%s: %w", archiveManifest, err)
	}
	if head.Schema != ArchiveSchema {
		return fmt.Errorf("%s: schema is %q; this program reads %q", archiveManifest, head.Schema, ArchiveSchema)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&a.manifest); err != nil {
		return fmt.Errorf("%s: %w", archiveManifest, err)
	}
	a.sums[archiveSums] = a.manifest.Sums
	return nil
}

var sumLine = regexp.MustCompile(`^([0-9a-f]{64})  (\S+)$`)

func (a *archiveReader) readSums() error {
	err := a.lines(archiveSums, func(line []byte) error {
		m := sumLine.FindSubmatch(line)
		if m == nil {
			return fmt.Errorf("%.100q is no line of sha256sum", line)
		}
		name := string(m[2])
		if _, twice := a.sums[name]; twice || name == archiveManifest {
			return fmt.Errorf("names %s twice", name)
		}
		if a.members[name] == nil {
			return fmt.Errorf("member %s is missing", name)
		}
		a.sums[name], a.names = string(m[1]), append(a.names, name)
		return nil
	})
	if err != nil {
		return err
	}
	if extra := len(a.members) - len(a.names) - 2; extra != 0 {
		for name := range a.members {
			if _, named := a.sums[name]; !named && name != archiveManifest {
				return fmt.Errorf("member %s is not named in %s", name, archiveSums)
			}
		}
	}
	return nil
}

// open reads one member and, at its end, tells whether it is the one that was
// written.
func (a *archiveReader) open(name string) (io.ReadCloser, error) {
	m := a.members[name]
	if m == nil {
		return nil, fmt.Errorf("member %s is missing", name)
	}
	r, err := m.Open()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return &summed{ReadCloser: r, name: name, sum: sha256.New(), want: a.sums[name]}, nil
}

// summed is a member being read.
type summed struct {
	io.ReadCloser
	name, want string
	sum        hash.Hash
}

func (s *summed) Read(p []byte) (int, error) {
	n, err := s.ReadCloser.Read(p)
	s.sum.Write(p[:n])
	switch {
	case err == io.EOF && s.want != "" && hex.EncodeToString(s.sum.Sum(nil)) != s.want:
		err = fmt.Errorf("%s: its SHA-256 is not the one in %s", s.name, archiveSums)
	case err != nil && err != io.EOF:
		err = fmt.Errorf("%s: %w", s.name, err)
	}
	return n, err
}

// all is a whole member, of no more than some bytes.
func (a *archiveReader) all(name string, most int64) (text []byte, err error) {
	r, err := a.open(name)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	text, err = io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && int64(len(text)) > most {
		err = fmt.Errorf("%s is longer than %d bytes", name, most)
	}
	return text, err
}

// lines calls do with each line of a member.
func (a *archiveReader) lines(name string, do func(line []byte) error) (err error) {
	r, err := a.open(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	s := bufio.NewScanner(r)
	s.Buffer(nil, mostLine)
	for n := 1; s.Scan(); n++ {
		if err := do(s.Bytes()); err != nil {
			return fmt.Errorf("%s, line %d: %w", name, n, err)
		}
	}
	if err := s.Err(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func (a *archiveReader) close() error { return a.file.Close() }

// kept is a record with what lies beside it.
func (a *archiveReader) kept(name, base string) (record.Kept, error) {
	f := record.FileSet{Name: name}
	var err error
	if f.Record, err = a.all(name, mostMember); err != nil {
		return record.Kept{}, err
	}
	if a.members[base+".seal"] != nil {
		if f.Seal, err = a.all(base+".seal", mostMember); err != nil {
			return record.Kept{}, err
		}
		if f.Signature, err = a.all(base+".sig", 4096); err != nil {
			return record.Kept{}, err
		}
	}
	return f.Kept(), nil
}
