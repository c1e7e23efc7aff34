package virtual

// relayMods is what faults do to a switch. Zero is healthy.
type relayMods struct {
	stuck bool // it stays where it is, and says so
	dead  bool // it says that it moved, but its contacts do not close
}

// meterMods is what faults do to a power meter. Zero is healthy.
type meterMods struct {
	deaf   bool
	offset float64 // dB
}

func aidKinds() []kind {
	relay := func(name, about string, do func(m *relayMods)) kind {
		return kind{Kind: Kind{Name: name, Role: RoleSwitch, About: about}, relay: do}
	}
	meter := func(name, about string, u amountUnit, normal string, do func(m *meterMods, a amount)) kind {
		return kind{Kind: Kind{Name: name, Role: RolePowerMeter, About: about, Default: normal}, unit: u, meter: do}
	}
	return []kind{
		relay("switch-stuck", "The switch stays where it is, and reads back so.", func(m *relayMods) { m.stuck = true }),
		relay("switch-no-contact", "The switch reads back what it was told, but its contacts do not close.", func(m *relayMods) { m.dead = true }),
		meter("meter-offset", "The power meter shows this much too little.", inDecibel, "3 dB", func(m *meterMods, a amount) { m.offset -= a.x }),
		meter("meter-dead", "The power meter sees nothing.", amountUnit{}, "", func(m *meterMods, _ amount) { m.deaf = true }),
	}
}

// relayMods gathers what the active faults do to a switch.
func (b *Bench) relayMods(o occasion) relayMods {
	var m relayMods
	for i := range b.faults {
		if f := &b.faults[i]; f.kind.relay != nil && f.active(o) {
			f.kind.relay(&m)
		}
	}
	return m
}

// meterMods gathers what the active faults do to one measured level.
func (b *Bench) meterMods(o occasion) meterMods {
	var m meterMods
	for i := range b.faults {
		if f := &b.faults[i]; f.kind.meter != nil && f.active(o) {
			f.kind.meter(&m, f.amount)
		}
	}
	return m
}
