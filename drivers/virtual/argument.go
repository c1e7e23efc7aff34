package virtual

import (
	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// Entries that an instrument puts on its error queue beyond those that package
// scpi gives.
var (
	errMissing         = &scpi.Error{Code: scpi.CodeMissingParameter}
	errNotAllowed      = &scpi.Error{Code: scpi.CodeParameterNotAllowed}
	errUndefined       = &scpi.Error{Code: scpi.CodeUndefinedHeader}
	errHeaderSuffix    = &scpi.Error{Code: scpi.CodeSuffixOutOfRange}
	errDataType        = &scpi.Error{Code: scpi.CodeDataType}
	errExponent        = &scpi.Error{Code: scpi.CodeExponentTooLarge}
	errOutOfRange      = &scpi.Error{Code: scpi.CodeOutOfRange}
	errIllegalValue    = &scpi.Error{Code: scpi.CodeIllegalValue}
	errInterrupted     = &scpi.Error{Code: scpi.CodeInterrupted}
	errInitIgnored     = &scpi.Error{Code: -213}
	errExecution       = &scpi.Error{Code: -200}
	errStale           = &scpi.Error{Code: -230}
	errHardwareMissing = &scpi.Error{Code: -241}
	errOverrun         = &scpi.Error{Code: codeOverrun}
)

// codeOverrun is the standard's code for a message that is too long (SCPI-1999
// vol. 2, 21.8, from memory).
const codeOverrun = -363

// entryOf is an error as the queue keeps it: code and standard text.
func entryOf(e *scpi.Error) scpi.ErrorEntry {
	text := scpi.StandardText(e.Code)
	if e.Code == codeOverrun {
		text = "Input buffer overrun"
	}
	return scpi.ErrorEntry{Code: e.Code, Text: text}
}

// Bounds of exponents and digits of an argument, so that no text asks for a
// gigabyte of zeros.
const (
	mostExponent = 60
	mostDigits   = 60
)

// bounds are what MIN, MAX and DEF stand for.
type bounds[D quantity.Dimension] struct{ low, high, normal quantity.Value[D] }

// numeric reads an argument in a unit such as "HZ". Errors are *scpi.Error.
func numeric[D quantity.Dimension](arg, unit string, b bounds[D]) (quantity.Value[D], error) {
	var zero quantity.Value[D]
	a, err := scpi.ParseArgument(arg)
	if err != nil {
		return zero, err
	}
	switch {
	case a.Is("MINimum"):
		return b.low, nil
	case a.Is("MAXimum"):
		return b.high, nil
	case a.Is("DEFault"):
		return b.normal, nil
	}
	d, err := a.In(unit)
	if err != nil {
		return zero, err
	}
	if d.NumDigits() > mostDigits || d.Exponent > mostExponent || d.Exponent < -mostExponent {
		return zero, errExponent
	}
	return quantity.New[D](d), nil
}
