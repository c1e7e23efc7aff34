// Package runner carries out a plan at the bench: it sets the source, makes
// sure that the source is good before a reading may count against the unit,
// reads, judges, and writes each point into the journal before the next begins.
//
// [Run] is what most callers need. The runner knows instruments only as the
// roles of package drivers, people as an [Operator], time as a [drivers.Clock] and what
// is kept as a [Journal]; all of them are given to it. What a bench may have
// beside unit and sources (switches in the place of a person, power meters, a
// monitor, thermometers) are its [Aids]. How a verdict comes
// about is the business of procedures/decision.
package runner
