package virtual

import (
	"errors"
	"fmt"
)

// StageFault is the name of a fault that sits in a stage of the unit: it takes
// the parameters stage, mode and, where the mode has one, amount.
const StageFault = "stage"

var stageKind = kind{stage: true, Kind: Kind{
	Name: StageFault, Role: RoleCounter,
	About: "A stage inside fails in one of its ways (--list-stages). Needs stage=NAME and mode=MODE.",
}}

// stageAndMode says what is wrong with the parameters stage and mode.
func stageAndMode(k kind) error {
	if k.stage {
		return errors.New("stage or mode is missing; such a fault reads \"stage:stage=NAME,mode=MODE\"")
	}
	return fmt.Errorf("stage and mode are parameters of the fault %q only", StageFault)
}

// checkStage finds stage and mode and reads the amount.
func (b *Bench) checkStage(f fault) (fault, error) {
	var err error
	if f.Instrument != b.counter.sc.Name {
		return f, fmt.Errorf("instrument %q has no stages; those of %q can fail", f.Instrument, b.counter.sc.Name)
	}
	if f.Input != "" {
		return f, errors.New("input is not a parameter of this fault; the stage says where it is")
	}
	if f.stage, err = b.counter.inside.stageNamed(f.Stage); err != nil {
		return f, err
	}
	if f.mode, err = f.stage.modeNamed(f.Mode); err != nil {
		return f, err
	}
	if f.Amount != "" && f.mode.unit.what == "" {
		return f, fmt.Errorf("amount is not a parameter of mode %q", f.Mode)
	}
	f.amount, err = f.mode.unit.read(first(f.Amount, f.mode.Default))
	return f, err
}
