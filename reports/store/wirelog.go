package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
)

// ErrNoWireLog: the run was not asked to keep one.
var ErrNoWireLog = errors.New("no wire log was kept")

// WireLog keeps the wire log of a run that has begun: each Write is one part,
// compressed, on disk when it returns. It must not outlive the context or the
// store.
func (s *Store) WireLog(ctx context.Context, run string) io.Writer {
	return &wireLog{ctx, s, run}
}

type wireLog struct {
	ctx context.Context // io.Writer has none of its own
	s   *Store
	run string
}

func (w *wireLog) Write(p []byte) (int, error) {
	var part bytes.Buffer
	z := gzip.NewWriter(&part)
	_, err := z.Write(p)
	if err = errors.Join(err, z.Close()); err == nil {
		_, err = w.s.exec(w.ctx, "INSERT INTO wire_log (run, body) VALUES ($1, $2)", w.run, part.Bytes())
	}
	if err != nil {
		return 0, wrap(w.s.file, "wire log of run "+w.run, err)
	}
	return len(p), nil
}

// ReadWireLog returns the text of a run's wire log.
func (s *Store) ReadWireLog(ctx context.Context, run string) (_ []byte, err error) {
	defer func() {
		if err != nil {
			err = wrap(s.file, "wire log of run "+run, err)
		}
	}()
	var packed bytes.Buffer
	err = s.each(ctx, func(scan func(...any) error) error {
		var body []byte
		err := scan(&body)
		packed.Write(body)
		return err
	}, "SELECT body FROM wire_log WHERE run = $1 ORDER BY seq", run)
	if err != nil {
		return nil, err
	}
	if packed.Len() == 0 {
		return nil, fmt.Errorf("%w; \"run --wire-log\" keeps it", ErrNoWireLog)
	}
	return unpacked(&packed, mostWireLog)
}

// mostWireLog is the longest wire log that is read, in bytes of text. A database
// from elsewhere may hold a few bytes that unpack to more than any memory.
const mostWireLog = 1 << 30

func unpacked(packed io.Reader, most int64) ([]byte, error) {
	z, err := gzip.NewReader(packed)
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(io.LimitReader(z, most+1))
	if err == nil && int64(len(text)) > most {
		return nil, fmt.Errorf("it is longer than %d bytes; is the database one that this program wrote?", most)
	}
	return text, err
}
