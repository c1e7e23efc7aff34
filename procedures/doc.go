// Package procedures says what is to be shown and with what: it reads the
// procedure, bench and job files and makes the [Plan]: every point with its
// limit, level and path, what cannot be shown and why, and how long it takes.
//
// Most callers need [LoadProcedure], [LoadBench], [LoadJob] and [NewPlan]. The
// package is pure: it opens no port and knows no instrument; what drivers can
// do reaches it as plain values ([Capability]).
package procedures
