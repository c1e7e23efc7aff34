// Package quantity holds values with units: exact decimals that are read from
// and written as text such as "225 MHz", "-20 dBm", "25 mV" or "0.1 ppm".
//
// It is the ground floor of the house: it imports nothing of ours, and both
// procedures and drivers stand on it. A bare number is never taken for a
// quantity; the one exception is Ratio, where "5e-10" is a fraction.
//
// Most callers need [Parse], the named types (Frequency, Duration, …) and
// Value.String. Statistics and limits are not its business: see
// procedures/accuracy, which computes in rationals obtained from Value.Rat.
package quantity
