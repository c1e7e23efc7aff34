//go:build !darwin || cgo

package link

import (
	"fmt"
	"strings"

	"go.bug.st/serial/enumerator"
)

func serialPorts() ([]SerialPort, error) {
	ports, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	var list []SerialPort
	for _, p := range ports {
		if p.Name == "" { // v1.8.0 leaves it out where sysfs says nothing of the port
			continue
		}
		list = append(list, SerialPort{Device: p.Name, Vendor: strings.ToUpper(p.VID), Product: strings.ToUpper(p.PID), SerialNumber: p.SerialNumber, Name: p.Product})
	}
	return list, nil
}
