// Package find looks for instruments: serial ports, instrument services that
// are announced by multicast DNS, VXI-11 devices that answer a broadcast, USB
// test and measurement devices that the kernel knows, GPIB addresses behind an
// adapter, and hosts or ports that somebody names.
//
// [Finder.Find] asks who an instrument is (*IDN?) only where that is safe: what
// says by itself that it is an instrument, and what somebody named. A serial
// port that nobody named is never written to, because nobody knows what is
// behind it.
//
// Instruments are talked to through drivers/link. The one socket of this package
// asks the multicast group, and no instrument, by multicast DNS.
//
// How a bench file is made of what was found is not the business of this
// package; [Found] proposes a role and a profile for it.
package find
