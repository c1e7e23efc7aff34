//go:build darwin && !cgo

package link

import (
	"fmt"

	"go.bug.st/serial"
)

// serialPorts knows nothing of USB here: the library asks the system for that
// by C.
func serialPorts() ([]SerialPort, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	var list []SerialPort
	for _, n := range names {
		list = append(list, SerialPort{Device: n})
	}
	return list, nil
}
