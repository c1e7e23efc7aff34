package virtual

import (
	"errors"

	"bandproof/drivers/scpi"
)

// errGone: the client went away while its answer was pending.
var errGone = errors.New("client is gone")

// Bits of the SCPI condition registers (SCPI-1999 vol. 1, 9, from memory).
const (
	quesFrequency = 1 << 5
	operSettling  = 1 << 1
	operMeasuring = 1 << 4
)

// defaultQueue is the length of an error queue unless the scenario says so.
const defaultQueue = 16

// status is the status reporting that IEEE 488.2 and SCPI ask of an instrument.
type status struct {
	size   int // of the queue; 0 is the default
	queue  []scpi.ErrorEntry
	esr    int
	ese    int
	sre    int
	opc    bool // *OPC waits for the pending operation
	ques   int  // questionable event register
	quesEn int
	operEn int
}

// push notes a mistake; the last entry of a full queue tells that more came.
func (s *status) push(e *scpi.Error) {
	switch -e.Code / 100 {
	case 1:
		s.esr |= scpi.CommandError
	case 2:
		s.esr |= scpi.ExecutionError
	case 3:
		s.esr |= scpi.DeviceDependentError
	case 4:
		s.esr |= scpi.QueryError
	}
	size := s.size
	if size <= 0 {
		size = defaultQueue
	}
	if len(s.queue) >= size {
		s.queue[size-1] = entryOf(&scpi.Error{Code: scpi.CodeQueueOverflow})
		return
	}
	s.queue = append(s.queue, entryOf(e))
}

func (s *status) pop() scpi.ErrorEntry {
	if len(s.queue) == 0 {
		return entryOf(&scpi.Error{Code: scpi.NoError})
	}
	e := s.queue[0]
	s.queue = s.queue[1:]
	return e
}

// complete notes the end of the pending operation.
func (s *status) complete() {
	if s.opc {
		s.opc = false
		s.esr |= scpi.OperationComplete
	}
}

// clear is what *CLS does.
func (s *status) clear() {
	s.queue, s.esr, s.ques, s.opc = nil, 0, 0, false
}

// byte is the status byte with the master summary; available: a response
// waits to be read.
func (s *status) byte(oper int, available bool) int {
	b := 0
	if available {
		b |= scpi.MessageAvailable
	}
	if len(s.queue) > 0 {
		b |= scpi.ErrorAvailable
	}
	if s.ques&s.quesEn != 0 {
		b |= scpi.QuestionableState
	}
	if s.esr&s.ese != 0 {
		b |= scpi.EventSummary
	}
	if oper&s.operEn != 0 {
		b |= scpi.OperationState
	}
	if b&s.sre != 0 {
		b |= scpi.MasterSummary
	}
	return b
}
