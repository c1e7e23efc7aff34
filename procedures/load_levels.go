package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
)

// vswr checks the sub-ranges of a VSWR.
func (c checker) vswr(path string, v VSWR) {
	for k, e := range v {
		at := fmt.Sprintf("%s[%d]", path, k)
		if !c.given(at) {
			continue
		}
		if k > 0 && e.UpTo.Cmp(v[k-1].UpTo) <= 0 {
			c.add(at, "%s does not rise above %s; sub-ranges rise in frequency, each up to its own", e.UpTo, v[k-1].UpTo)
		}
		if s := e.VSWR.Float(); s < 1 || s > 100 {
			c.add(at, "is %s; a VSWR is a number from 1 to 100, such as 1.5", e.VSWR.Plain())
		}
	}
}

// entries checks the uncertainties that entries of a table state themselves.
func (c checker) entries(path string, list []LossEntry) {
	for k, e := range list {
		if e.Uncertainty != nil && e.Uncertainty.Sign() < 0 {
			c.add(fmt.Sprintf("%s[%d]", path, k), "states the uncertainty %s; expected at least zero", e.Uncertainty)
		}
	}
}

// match checks what an input states of its impedance beyond the nominal one.
func (c checker) match(path string, i Input) {
	c.vswr(path+".vswr", i.VSWR)
	if c.given(path+".vswr") && c.given(path+".impedance") && i.HighImpedance() {
		c.add(path+".vswr", "has no meaning at a high-impedance input; its match follows from impedance and capacitance")
	}
	for key, r := range map[string]*quantity.Ratio{"impedance_tolerance": i.ImpedanceTolerance, "capacitance_tolerance": i.CapacitanceTolerance} {
		at := path + "." + key
		switch {
		case !c.given(at):
		case c.given(path+".impedance") && !i.HighImpedance():
			c.add(at, "belongs to a high-impedance input; of a 50 Ω input the match is stated as vswr")
		case r.Sign() < 0 || r.Float() >= 1:
			c.add(at, "is %s; expected 0 to 100 %%", r)
		}
	}
	if c.given(path+".capacitance_tolerance") && i.Capacitance == nil {
		c.add(path+".capacitance_tolerance", "stands without capacitance")
	}
}
