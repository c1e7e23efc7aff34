package isolate

import "slices"

// Cautions are shown before any look inside a unit is proposed. They are
// reminders; local codes and licensed practice come first.
func Cautions() []string {
	return []string{
		"Local codes, site rules and licensed or qualified persons come before anything that is proposed here. The program proposes; the person decides.",
		"Mains: disconnect before the cover comes off, before a board comes out and before anything is soldered. Where a look needs the unit to be on with its cover off, that is work for a person qualified for it, under local rules, with rated tools, and never alone.",
		"Stored energy: capacitors of supplies and display tubes stay charged after the plug is out. Wait, discharge by the maker's method, then measure zero before a hand goes in.",
		"One hand: keep the other away from chassis and bench, wear no ring or watch, clip the probe's ground before power is switched on.",
		"An isolation supply is not immunity: two points of the unit can kill all the same. Never lift the protective earth.",
		"ESD: strap and mat while the unit is off, through the safety resistor, never on a live chassis. Discharge cables and probes first.",
		"Inputs: stay below the damage level of each, source off while anything is connected. A test point may take less than the input before it.",
		"A probe loads and can short what it touches: high impedance or a blocking capacitor where in doubt, an insulated tip, no slip between two pins.",
		"Heat, fumes and old parts: heatsinks and ovens burn, soldering needs extraction and eye protection, old boards may hold lead, beryllia or mercury.",
		"Stop on smoke, smell, a tripped breaker or an earth fault: power off, tag the unit, report.",
	}
}

// cautions are the usual ones, the model's, and others that are not said yet.
func (n *Network) cautions(others []string) []string {
	list := Cautions()
	if n != nil {
		others = append(slices.Clone(n.Model.Cautions), others...)
	}
	for _, c := range others {
		if !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

// orderOf says what is off while a test point of an access is made ready. Common
// practice, no source.
func orderOf(access string) string {
	switch access {
	case "probe":
		return "RF off, unit off and unplugged, while the cover comes off and the probe's ground is clipped; then the unit on, by who may; RF last. Back in reverse"
	case "solder":
		return "RF off, unit off and unplugged, stored energy gone, before the iron comes near; solder, look for bridges; then the unit on, by who may; RF last. Back in reverse"
	case "board-out":
		return "RF off, unit off and unplugged, stored energy gone, strap on, before the board comes out; on again only as the maker's service manual has it run so, by who may; RF last. Back in reverse"
	}
	return "RF off while anything is connected; what is connected must stand what comes out"
}
