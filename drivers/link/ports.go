package link

// SerialPort is a serial port of this machine.
type SerialPort struct {
	Device string // what the system calls it
	// Of the USB adapter, where it is one and the system tells.
	Vendor, Product string // four hexadecimal digits
	SerialNumber    string
	Name            string // what the adapter calls itself
}

// SerialPorts lists the serial ports of this machine. It writes to none of
// them; on some systems it opens them to see whether they are there.
func SerialPorts() ([]SerialPort, error) { return serialPorts() }
