// Package isolate reasons from what passed and what failed to the stage of the
// unit that is at fault, over a block model that somebody wrote down as TOML.
//
// It is pure: a [Model] is read by [Load], turned into a [Network] by
// [Model.Network]; [Network.Infer] weighs [Observation]s (points of a record, a
// self-test, looks at test points) and gives a [Posterior]: who is suspect and
// why, what can't be told apart, what is not explained, and which look is worth
// most for its cost ([Posterior.Probes]). [Network.Testability] tells beforehand
// what could be found at all.
//
// What a failure mode of a stage does to what is seen is stated in one table
// (table.go); the shares of the modes and the rates of the kinds of stages are
// in kinds.go; TABLE.md prints both. They are common practice, no source. SHOWN.md
// tells what is found with them on a virtual unit, fault by fault.
package isolate
