package scpi

// Bits of the standard event status register, the reply to *ESR? (IEEE 488.2
// clause 11.5.1, from memory).
const (
	OperationComplete    = 1 << 0 // OPC
	RequestControl       = 1 << 1 // RQC
	QueryError           = 1 << 2 // QYE
	DeviceDependentError = 1 << 3 // DDE
	ExecutionError       = 1 << 4 // EXE
	CommandError         = 1 << 5 // CME
	UserRequest          = 1 << 6 // URQ
	PowerOn              = 1 << 7 // PON
)

// Bits of the status byte, the reply to *STB? (IEEE 488.2 clause 11.2 and
// SCPI-1999 volume 1 chapter 9, from memory).
const (
	ErrorAvailable    = 1 << 2 // EAV: the error queue holds something
	QuestionableState = 1 << 3 // QUES
	MessageAvailable  = 1 << 4 // MAV
	EventSummary      = 1 << 5 // ESB
	MasterSummary     = 1 << 6 // MSS with *STB?, RQS when polled
	OperationState    = 1 << 7 // OPER
)
