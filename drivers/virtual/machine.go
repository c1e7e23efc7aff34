//go:build linux

package virtual

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"syscall"
)

// Machine stands in for the operating system of a computer with instruments
// plugged in: the files of /dev and /sys that links look at, and models of the
// kernel's drivers behind them. It takes the place of a link's System.
type Machine struct {
	mutex  sync.Mutex
	usb    map[string]*usbDriver // by the names of their devices, usbtmc0
	boards map[string]*boardDriver
	bound  map[string]bool // the driver serves it
	files  map[int]machineFile
	next   int
}

// machineFile is an open device.
type machineFile interface {
	read(p []byte) (int, error)
	write(p []byte) (int, error)
	ioctl(request uint32, argument, buffer []byte) error
	close()
}

// NewMachine has nothing plugged in.
func NewMachine() *Machine {
	return &Machine{usb: map[string]*usbDriver{}, boards: map[string]*boardDriver{}, bound: map[string]bool{}, files: map[int]machineFile{}, next: 3}
}

// PlugUSB plugs an instrument in; served: the driver takes it.
func (m *Machine) PlugUSB(u *USBInstrument, served bool) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for i := 0; ; i++ {
		name := fmt.Sprint("usbtmc", i)
		if m.usb[name] == nil {
			m.usb[name], m.bound[name] = newUSBDriver(u), served
			return
		}
	}
}

// UnplugUSB pulls an instrument out.
func (m *Machine) UnplugUSB(u *USBInstrument) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for name, d := range m.usb {
		if d.usb == u {
			d.unplug()
			delete(m.usb, name)
		}
	}
}

// PlugBoard puts a GPIB board in as /dev/gpibN, with what is on its bus.
func (m *Machine) PlugBoard(number int, bus *Bus) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	m.boards[fmt.Sprint("gpib", number)] = newBoardDriver(bus)
}

// Open opens a device.
func (m *Machine) Open(path string, alone bool) (int, error) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	name := strings.TrimPrefix(path, "/dev/")
	var f machineFile
	switch {
	case m.usb[name] != nil && m.bound[name]:
		if alone && m.usb[name].opened {
			return -1, &fs.PathError{Op: "lock", Path: path, Err: syscall.EAGAIN}
		}
		f = m.usb[name].open()
	case m.boards[name] != nil:
		f = m.boards[name].open()
	default:
		return -1, &fs.PathError{Op: "open", Path: path, Err: syscall.ENOENT}
	}
	m.next++
	m.files[m.next] = f
	return m.next, nil
}

func (m *Machine) file(fd int) (machineFile, error) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	if f := m.files[fd]; f != nil {
		return f, nil
	}
	return nil, syscall.EBADF
}

// Close closes a device.
func (m *Machine) Close(fd int) error {
	f, err := m.file(fd)
	if err != nil {
		return err
	}
	m.mutex.Lock()
	defer m.mutex.Unlock()
	f.close()
	delete(m.files, fd)
	return nil
}

// Read reads from a device.
func (m *Machine) Read(fd int, p []byte) (int, error) {
	f, err := m.file(fd)
	if err != nil {
		return 0, err
	}
	return f.read(p)
}

// Write writes to a device.
func (m *Machine) Write(fd int, p []byte) (int, error) {
	f, err := m.file(fd)
	if err != nil {
		return 0, err
	}
	return f.write(p)
}

// Ioctl makes a request to a device's driver.
func (m *Machine) Ioctl(fd int, request uint32, argument, buffer []byte) error {
	f, err := m.file(fd)
	if err != nil {
		return err
	}
	return f.ioctl(request, argument, buffer)
}

// sysfs gives the files that tell of USB instruments.
func (m *Machine) sysfs() map[string]string {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	files := map[string]string{}
	for name, d := range m.usb {
		ids := map[string]string{"idVendor": fmt.Sprintf("%04x", d.usb.Vendor), "idProduct": fmt.Sprintf("%04x", d.usb.Product), "serial": d.usb.Serial}
		for file, text := range ids {
			files["/sys/bus/usb/devices/1-"+name+"/"+file] = text + "\n"
			if m.bound[name] {
				files["/sys/class/usbmisc/"+name+"/device/../"+file] = text + "\n"
			}
		}
		if m.bound[name] {
			files["/sys/class/usbmisc/"+name+"/device/bInterfaceNumber"] = "00\n"
		}
	}
	return files
}

// ReadFile reads a file of sysfs.
func (m *Machine) ReadFile(path string) ([]byte, error) {
	text, ok := m.sysfs()[path]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
	}
	return []byte(text), nil
}

// List lists a directory: of sysfs, or the devices in /dev.
func (m *Machine) List(directory string) ([]string, error) {
	seen := map[string]bool{}
	for path := range m.sysfs() {
		if rest, ok := strings.CutPrefix(path, directory+"/"); ok {
			name, _, _ := strings.Cut(rest, "/")
			seen[name] = true
		}
	}
	var names []string
	for name := range seen {
		names = append(names, name)
	}
	slices.Sort(names)
	if names == nil {
		return nil, &fs.PathError{Op: "open", Path: directory, Err: fs.ErrNotExist}
	}
	return names, nil
}
