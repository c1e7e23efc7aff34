// Package dcc writes the records of one unit as a Digital Calibration
// Certificate (DCC): XML by the open schema of that name, with quantities in
// D-SI, one measurement result a run. [New] takes records, [Certificate.Write]
// writes the file, [Certificate.Missing] names what ISO/IEC 17025 wants and the
// records lack; [Signer] makes a signature that stands beside the file.
//
// Numbers are those of the record, unrounded: readings, errors and limits as
// exact decimals, uncertainties as the record holds them, curves to twelve
// digits. What has no finite decimal form is rounded to a millionth of its
// uncertainty or finer (number.go). A level in dBm or dBV becomes watts or
// volts; temperatures are in kelvin.
//
// The schemas are no part of this package (their licence is the LGPL): they say
// how elements are ordered and which words are known, nothing of units or of
// completeness. How a record is laid out for people is the business of
// reports/sheet, whose PDF goes into the certificate as it is.
package dcc
