// Package virtual is the virtual bench: a counter as unit, sources and the
// wires between them, and beside them switches, power meters, thermometers and
// a monitor, as models that are served as instruments over sockets,
// pseudo-terminals, serial ports or in-process pipes. It is for rehearsal,
// demonstration and tests of the real program over real links.
//
// Most callers need [LoadScenario] or [DefaultScenario], [New], and then
// [Bench.Connect], [Bench.SetFaults], [Bench.Dial] or [Bench.ServeListener].
// What can be broken is listed by [Catalogue].
//
// A scenario may state what is inside the unit: stages, through which the
// signal of each gate is walked while a fault of the name [StageFault] sits in
// one of them, and test points. [Bench.Stages] lists the stages with the ways in
// which they fail, [Bench.Probe] tells what is at a test point.
//
// Everything random is drawn by a hash of the seed, the instrument, the setting
// and the ordinal of the gate at that setting, never by a running generator:
// the same seed and the same commands give the same replies on every link,
// whatever the wall time and however often a status was polled.
//
// The models say what an instrument of a kind does, not what any one does; all
// makers and models are invented. Judging readings, planning points and finding
// the broken stage are not its business, and faults know nothing of the block
// models by which the program isolates them.
package virtual
