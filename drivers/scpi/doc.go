// Package scpi knows the formats of messages by IEEE 488.2 and SCPI-1999: how
// numbers, strings, blocks, lists, identities and error entries are written,
// and how a program message is taken apart.
//
// It is pure: bytes in, values out. How they travel is the business of
// drivers/link, and which commands an instrument understands that of
// drivers/profile. Both ends of a conversation use it: drivers read replies
// ([ParseNumber], [ParseIdentity], [ParseErrorEntry]), virtual instruments take
// commands apart ([ParseProgram], [Pattern], [ParseArgument]).
//
// Parsers never guess: what is not of the form is an error that shows the text
// and says what was expected. Clauses of standards are given from memory where
// no other source is named.
package scpi
