// Package manual is the instrument without remote control: a source that a
// person sets ([OpenSource]) and a counter that a person reads ([OpenCounter]).
//
// Each action is a question to a [Person] and waits for the answer as long as
// the context allows. What a person enters is read exactly, every digit kept.
// An entry that can hardly be meant (wrong decade, wrong band, two digits
// swapped, digits left out) is asked for again with what looks wrong; the same
// entry given a second time is taken and says so. A reading is never questioned
// because it fails, only because a slip is likelier.
//
// How questions look is the business of who provides the Person.
package manual
