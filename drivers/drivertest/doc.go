// Package drivertest helps to test drivers and links. It is imported by tests
// only.
//
// [Playback] stands in for a link: it gives the answers of a [Script] and fails
// the test at the first byte that differs from it. [Record] wraps a real link
// and writes the script down. [Conformance] is the one suite that every link
// must pass; each of its cases says which rule it checks.
//
// Instruments that behave like instruments are not its business: see
// drivers/virtual.
package drivertest
