package scpi

import "fmt"

// NoError is the code of an empty error queue.
const NoError = 0

// The codes that the parsers of this package and virtual instruments give; the
// texts of all are in StandardText.
const (
	CodeCommand             = -100
	CodeInvalidCharacter    = -101
	CodeSyntax              = -102
	CodeDataType            = -104
	CodeParameterNotAllowed = -108
	CodeMissingParameter    = -109
	CodeHeaderSeparator     = -111
	CodeUndefinedHeader     = -113
	CodeSuffixOutOfRange    = -114
	CodeNumber              = -120
	CodeExponentTooLarge    = -123
	CodeInvalidSuffix       = -131
	CodeSuffixNotAllowed    = -138
	CodeInvalidKeyword      = -141
	CodeString              = -151
	CodeBlock               = -161
	CodeExpression          = -171
	CodeExecution           = -200
	CodeSettingsConflict    = -221
	CodeOutOfRange          = -222
	CodeIllegalValue        = -224
	CodeHardware            = -240
	CodeQueueOverflow       = -350
	CodeInterrupted         = -410
	CodeUnterminated        = -420
)

// StandardText is the text of a standard error code, "" for a code that is not
// in the list (SCPI-1999 volume 2 clause 21.8).
func StandardText(code int) string { return standardTexts[code] }

// Error is a program message that an instrument must refuse, as the entry of
// its error queue.
type Error struct {
	Code   int
	Detail string
}

// Error is the entry as SCPI writes it.
func (e *Error) Error() string { return e.Entry().String() }

// Entry is the entry for the error queue.
func (e *Error) Entry() ErrorEntry {
	return ErrorEntry{Code: e.Code, Text: StandardText(e.Code), Detail: e.Detail}
}

func refuse(code int, format string, args ...any) error {
	return &Error{Code: code, Detail: fmt.Sprintf(format, args...)}
}
