package virtual

import (
	"errors"
	"fmt"
)

// scpiError is an entry of an instrument's error queue.
type scpiError struct {
	code int
	text string
}

func (e *scpiError) Error() string { return fmt.Sprintf("%d,%q", e.code, e.text) }

// Error codes and texts of SCPI-1999 vol. 2, 21.8.
var (
	errInvalidCharacter = &scpiError{-101, "Invalid character"}
	errDataType         = &scpiError{-104, "Data type error"}
	errNotAllowed       = &scpiError{-108, "Parameter not allowed"}
	errMissing          = &scpiError{-109, "Missing parameter"}
	errUndefined        = &scpiError{-113, "Undefined header"}
	errNumeric          = &scpiError{-120, "Numeric data error"}
	errExponent         = &scpiError{-123, "Exponent too large"}
	errInvalidSuffix    = &scpiError{-131, "Invalid suffix"}
	errInvalidString    = &scpiError{-151, "Invalid string data"}
	errInitIgnored      = &scpiError{-213, "Init ignored"}
	errOutOfRange       = &scpiError{-222, "Data out of range"}
	errIllegalValue     = &scpiError{-224, "Illegal parameter value"}
	errStale            = &scpiError{-230, "Data corrupt or stale"}
	errHardwareMissing  = &scpiError{-241, "Hardware missing"}
	errOverflow         = &scpiError{-350, "Queue overflow"}
	errOverrun          = &scpiError{-363, "Input buffer overrun"}
	errInterrupted      = &scpiError{-410, "Query INTERRUPTED"}
)

// errGone: the client went away while its answer was pending.
var errGone = errors.New("client is gone")

// Bits of the standard event register and the status byte (IEEE 488.2, 11.5.1
// and 11.2; SCPI-1999 vol. 1, 9; from memory) and of the questionable and
// operation registers.
const (
	esrOPC, esrQYE, esrDDE, esrEXE, esrCME, esrPON   = 1, 4, 8, 16, 32, 128
	stbEAV, stbQUES, stbMAV, stbESB, stbMSS, stbOPER = 4, 8, 16, 32, 64, 128
	quesFrequency                                    = 32
	operMeasuring                                    = 16
	operSettling                                     = 2
	defaultQueue                                     = 16
)

// status is the status reporting that IEEE 488.2 and SCPI ask of an instrument.
type status struct {
	size    int // of the queue; 0 is the default
	queue   []*scpiError
	esr     int
	ese     int
	sre     int
	opc     bool // *OPC waits for the pending operation
	ques    int  // questionable event register
	quesEn  int
	operEn  int
	powered bool // PON has been set
}

func (s *status) push(e *scpiError) {
	switch c := -e.code / 100; c {
	case 1:
		s.esr |= esrCME
	case 2:
		s.esr |= esrEXE
	case 3:
		s.esr |= esrDDE
	case 4:
		s.esr |= esrQYE
	}
	size := s.size
	if size <= 0 {
		size = defaultQueue
	}
	if len(s.queue) >= size {
		s.queue[size-1] = errOverflow
		return
	}
	s.queue = append(s.queue, e)
}

func (s *status) pop() *scpiError {
	if len(s.queue) == 0 {
		return &scpiError{0, "No error"}
	}
	e := s.queue[0]
	s.queue = s.queue[1:]
	return e
}

// complete notes the end of the pending operation.
func (s *status) complete() {
	if s.opc {
		s.opc = false
		s.esr |= esrOPC
	}
}

// clear is what *CLS does.
func (s *status) clear() {
	s.queue, s.esr, s.ques, s.opc = nil, 0, 0, false
}

// byte is the status byte; mss with the summary bit of *STB?.
func (s *status) byte(oper int) int {
	b := 0
	if len(s.queue) > 0 {
		b |= stbEAV
	}
	if s.ques&s.quesEn != 0 {
		b |= stbQUES
	}
	if s.esr&s.ese != 0 {
		b |= stbESB
	}
	if oper&s.operEn != 0 {
		b |= stbOPER
	}
	if b&s.sre != 0 {
		b |= stbMSS
	}
	return b
}
