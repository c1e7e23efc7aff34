// Package stability computes how steady a frequency is: the deviations of the
// Allan family with noise type and confidence interval, drift, ageing and
// warm-up.
//
// It is pure: it takes numbers and gives numbers. Most callers need [Read] for
// a file of values, [Analyse] for the table of deviations, and [FitLinear],
// [FitLogarithmic] or [FitWarmUp] for what changes slowly. Whether a result is
// good enough is not its business, and neither is drawing (see chart).
//
// Terms and formulas are those of NIST SP 1065 (2008) and IEEE Std 1139, from
// memory; the equivalent degrees of freedom follow the general method for
// finite-difference variances that SP 1065, 5.4 describes. What the tests
// compare with published values is in testdata/checks.
//
// A gap is marked by NaN and is never filled. Of frequency data every term that
// spans a gap is left out, since the phase across it is unknown; of phase data
// every term that needs the missing point.
package stability
