// Package profile turns an instrument that is described in TOML into a role:
// [Load] reads the description, [Profile.OpenCounter] and [Profile.OpenSource]
// give a drivers.Counter or drivers.Source that speaks over a link;
// [Profile.OpenSwitch], [Profile.OpenPowerMeter] and [Profile.OpenThermometer]
// give what stands beside them.
//
// What a profile holds is in [File], one table an action. The optional
// abilities of package drivers (LockReporter, ReferenceReporter, ErrorQueue,
// SelfTester, Zeroer, Hygrometer) are there exactly where the profile has the action, so that a
// type assertion tells the truth.
//
// The one promise of this package is that no late, stale or foreign answer is
// ever returned as a reading: an exchange that went wrong in any way makes the
// session begin its next action by clearing the link and matching the
// instrument's identity anew (see [Profile.OpenCounter]).
//
// A profile carries a conversation as examples; [Profile.Replay] plays them
// through the driver and tells at which byte they differ.
//
// How bytes travel is the business of drivers/link; which profiles come with
// the program, that of drivers/profiles; what a reading is worth, that of
// procedures.
package profile
