package faulty_test

import (
	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// Links through drivers of the kernel: the drivers are models, and the faults
// come in at the system calls. None of it was tried on hardware.
func init() {
	rigs = append(rigs,
		rig{name: "USBTMC", place: placeUSB, counter: extent(200, 300), source: extent(800, 620), seam: true},
		rig{name: "GPIB board", place: placeBoard, counter: extent(600, 300), source: extent(1500, 620), seam: true},
	)
}

func placeUSB(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	talk, err := u.bench.Talk(instrument)
	if err != nil {
		return link.Config{}, link.Opener{}, nil, err
	}
	m, plug := virtual.NewMachine(), virtual.NewUSBInstrument(talk, 0x1234, 0x5678, "SERIAL7")
	m.PlugUSB(plug, true)
	s := faulty.NewSystem(line, m)
	return link.Config{Address: "USB0::0x1234::0x5678::SERIAL7::INSTR"}, link.Opener{System: s}, func() error { s.Halt(); plug.Close(); return nil }, nil
}

func placeBoard(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	bus, err := u.bench.Bus(map[virtual.BusAddress]string{{Primary: 7, Secondary: -1}: instrument})
	if err != nil {
		return link.Config{}, link.Opener{}, nil, err
	}
	m := virtual.NewMachine()
	m.PlugBoard(0, bus)
	s := faulty.NewSystem(line, m)
	return link.Config{Address: "GPIB0::7::INSTR"}, link.Opener{System: s}, func() error { s.Halt(); bus.Close(); return nil }, nil
}
