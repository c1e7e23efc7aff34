// Package usbtmc is the format of what goes over the bulk endpoints of a USB
// test and measurement instrument, and of its capabilities: bytes in, values
// out. It moves no bytes.
//
// The numbers are those of "USB Test and Measurement Class Specification
// (USBTMC)", revision 1.0, and of its subclass USB488, revision 1.0, both of
// 14 April 2003; table numbers in comments are of these, as the public
// libraries tinyusb (usbtmc.h) and pas-gpib (usbtmc.pas) restate them.
package usbtmc
