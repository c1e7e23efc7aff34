// Package accuracy turns the accuracy specification of a counter into the
// limit (largest permitted error) at a point:
//
//	L = counts · q + f_ref · timebase + trigger + residual
//
// where q is the resolution, the size of one count, of the commanded setting
// (it is never inferred from what a reading shows). Everything is an exact
// rational; where a root occurs it is evaluated to 50 digits. Whether an error
// is good enough is decided in procedures/decision.
//
// The counting kinds and the form of the specification are common practice of
// the trade (no source).
package accuracy
