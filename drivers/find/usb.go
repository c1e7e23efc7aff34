package find

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// USBDevice is a USB test and measurement device that the kernel has a driver for.
type USBDevice struct {
	USB
	Number    int // of /dev/usbtmcN
	Interface string
}

// Address is its resource name.
func (d USBDevice) Address() string {
	name := fmt.Sprintf("USB0::0x%s::0x%s::%s", d.Vendor, d.Product, d.SerialNumber)
	if d.Interface != "" && d.Interface != "0" {
		name += "::" + d.Interface
	}
	return name + "::INSTR"
}

// usbDevices reads what the kernel says of its usbtmc devices: for each in
// /sys/class/usbmisc the interface that it is, and the device above it
// (Documentation/ABI/testing/sysfs-bus-usb of the Linux kernel, from memory).
func usbDevices(root, system string) ([]USBDevice, error) {
	if system != "linux" {
		return nil, nil // no other system has a driver of its own
	}
	class := root + "/sys/class/usbmisc/"
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var list []USBDevice
	for _, e := range entries {
		var d USBDevice
		if _, err := fmt.Sscanf(e.Name(), "usbtmc%d", &d.Number); err != nil {
			continue
		}
		at := class + e.Name() + "/device/" // a symbolic link: what is above it is the system's business
		read := func(name string) string {
			text, err := os.ReadFile(at + name)
			if err != nil {
				return ""
			}
			return strings.TrimSpace(string(text))
		}
		d.Interface = strings.TrimLeft(read("bInterfaceNumber"), "0")
		d.Vendor, d.Product = strings.ToUpper(read("../idVendor")), strings.ToUpper(read("../idProduct"))
		d.SerialNumber, d.Name = read("../serial"), strings.TrimSpace(read("../manufacturer")+" "+read("../product"))
		if d.Vendor != "" && d.Product != "" {
			list = append(list, d)
		}
	}
	return list, err
}
