package virtual

import "bandproof/procedures/quantity"

// StageScenario is one stage of the unit's inside, the place where a fault can
// sit. Stages stand in the order of the signal: each is fed by stages above it.
type StageScenario struct {
	Name  string   `toml:"name"`
	Kind  string   `toml:"kind"`
	Input string   `toml:"input,omitempty"`  // connector that feeds it
	FedBy []string `toml:"fed_by,omitempty"` // stages that feed it; several only at a switch or a mixer
	Way   string   `toml:"way,omitempty"`    // fed by a switch: the value of its control line that lets the signal pass to here
	Ways  []string `toml:"ways,omitempty"`   // of a switch fed by several: which value of its control line takes which

	Control    string          `toml:"control,omitempty"`    // of a switch its control line, of a gate its gate control
	Oscillator string          `toml:"oscillator,omitempty"` // of a mixer: the stage that brings the local oscillator
	Values     []ValueScenario `toml:"value,omitempty"`      // of a control line; the first is that at rest

	Range     *[2]quantity.Frequency `toml:"range,omitempty"`         // in which it works; that of what feeds it unless stated
	Frequency *quantity.Frequency    `toml:"frequency,omitempty"`     // of an oscillator; one that nothing feeds is the timebase
	Ratio     int                    `toml:"ratio,omitempty"`         // of a divider
	Harmonics string                 `toml:"harmonics_for,omitempty"` // of a multiplier: the down-converted input whose harmonic number it takes
	Limiting  bool                   `toml:"limiting,omitempty"`      // of an amplifier: its output is as high whatever comes in
}

// ValueScenario is a value of a control line and when the unit sets it.
type ValueScenario struct {
	Value string                 `toml:"value"`
	Input string                 `toml:"input,omitempty"` // while this input is selected; with range, while its signal lies there
	Range *[2]quantity.Frequency `toml:"range,omitempty"`
	Test  bool                   `toml:"self_test,omitempty"` // during the self-test
}

// TestPointScenario is a place where a probe can be put.
type TestPointScenario struct {
	Name  string `toml:"name"`
	Stage string `toml:"stage"` // after which it sits
}

// The kinds of stages.
const (
	kindLimiter     = "limiter"
	kindAttenuator  = "attenuator"
	kindAmplifier   = "amplifier"
	kindFilter      = "filter"
	kindTrigger     = "trigger"
	kindDivider     = "divider"
	kindSwitch      = "switch"
	kindControl     = "control line"
	kindOscillator  = "oscillator"
	kindBuffer      = "buffer"
	kindMultiplier  = "multiplier"
	kindMixer       = "mixer"
	kindGate        = "gate"
	kindGateControl = "gate control"
	kindChain       = "counting chain"
	kindRegister    = "output register"
)

var stageKindNames = []string{
	kindLimiter, kindAttenuator, kindAmplifier, kindFilter, kindTrigger, kindDivider, kindSwitch, kindControl,
	kindOscillator, kindBuffer, kindMultiplier, kindMixer, kindGate, kindGateControl, kindChain, kindRegister,
}
