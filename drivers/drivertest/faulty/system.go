package faulty

import (
	"context"
	"io/fs"
	"sync"
	"syscall"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/link/kernel"
)

// System spoils what goes through the system calls of links on character
// devices: the bytes of a transfer. A transfer is a whole, so what is split or
// joined is only late; a cut is a device that vanishes and comes back.
type System struct {
	link.System // the one behind it
	line        *Line
	life        context.Context
	end         context.CancelFunc

	mutex  sync.Mutex
	round  int         // how often it has vanished
	opened map[int]int // round in which a descriptor was opened
	back   time.Time   // when a vanished device can be opened again
	memory [2]memory
	over   []byte // bytes to the driver that found no room
}

// NewSystem puts a line in front of a system.
func NewSystem(line *Line, behind link.System) *System {
	s := &System{System: behind, line: line, opened: map[int]int{}}
	s.life, s.end = context.WithCancel(context.Background())
	return s
}

// Halt ends every wait.
func (s *System) Halt() { s.end() }

// Open opens a device that is there.
func (s *System) Open(path string, alone bool) (int, error) {
	s.mutex.Lock()
	away := time.Now().Before(s.back)
	s.mutex.Unlock()
	if away {
		return -1, &fs.PathError{Op: "open", Path: path, Err: syscall.ENOENT}
	}
	fd, err := s.System.Open(path, alone)
	if err == nil {
		s.mutex.Lock()
		s.opened[fd] = s.round
		s.mutex.Unlock()
	}
	return fd, err
}

// Read gives the bytes of one transfer, spoiled.
func (s *System) Read(fd int, p []byte) (int, error) {
	if err := s.gone(fd); err != nil {
		return 0, err
	}
	n, err := s.System.Read(fd, p)
	if err != nil {
		return n, err
	}
	return s.in(fd, p, n)
}

// Write takes the bytes of one transfer and passes them on, spoiled.
func (s *System) Write(fd int, p []byte) (int, error) {
	spoiled, err := s.spoil(fd, ToInstrument, p)
	if err != nil || len(spoiled) == 0 {
		return len(p), err
	}
	if _, err := s.System.Write(fd, spoiled); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Ioctl passes a request on; the transfers of GPIB boards are spoiled.
func (s *System) Ioctl(fd int, request uint32, argument, buffer []byte) error {
	if err := s.gone(fd); err != nil {
		return err
	}
	t, ok := kernel.ParseTransfer(argument)
	switch {
	case ok && request == kernel.GPIBRead:
		err := s.System.Ioctl(fd, request, argument, buffer)
		if t, ok = kernel.ParseTransfer(argument); !ok || t.Completed == 0 {
			return err
		}
		n, none := s.in(fd, buffer, int(t.Completed))
		if t.Completed = uint32(n); none != nil {
			t.End, err = false, none
		}
		copy(argument[8:], t.Append(nil)[8:])
		return err
	case ok && (request == kernel.GPIBWrite || request == kernel.GPIBCommand):
		return s.out(fd, request, t, argument, buffer)
	}
	return s.System.Ioctl(fd, request, argument, buffer)
}

// out passes a transfer of a board on, and tells of as much as it was given.
func (s *System) out(fd int, request uint32, t kernel.Transfer, argument, buffer []byte) error {
	if int(t.Requested) > len(buffer) || t.Completed > t.Requested {
		return syscall.EINVAL
	}
	spoiled, err := s.spoil(fd, ToInstrument, buffer[t.Completed:t.Requested])
	if err != nil {
		return err
	}
	if len(spoiled) > 0 {
		other := kernel.Transfer{Requested: uint32(len(spoiled)), End: t.End}.Append(nil)
		if err := s.System.Ioctl(fd, request, other, spoiled); err != nil {
			return err
		}
	}
	t.Completed = t.Requested
	copy(argument[8:], t.Append(nil)[8:])
	return nil
}

// in spoils n bytes that were read into p. What finds no room in it comes with
// the next transfer.
func (s *System) in(fd int, p []byte, n int) (int, error) {
	spoiled, err := s.spoil(fd, ToDriver, p[:n])
	if err != nil {
		return 0, err
	}
	s.mutex.Lock()
	defer s.mutex.Unlock()
	all := append(s.over, spoiled...)
	if len(all) == 0 && n > 0 { // nothing of it has come, its end neither
		return 0, syscall.ETIMEDOUT
	}
	n = copy(p, all)
	s.over = append([]byte(nil), all[n:]...)
	return n, nil
}

// gone is the error of a device that has vanished since it was opened.
func (s *System) gone(fd int) error {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if s.opened[fd] != s.round {
		return syscall.ENODEV
	}
	return nil
}

// spoil tells what becomes of bytes, and takes the time that it takes.
func (s *System) spoil(fd int, w Way, p []byte) (spoiled []byte, err error) {
	if err := s.gone(fd); err != nil {
		return nil, err
	}
	s.mutex.Lock()
	steps := s.line.lanes[w].apply(&s.memory[w], p)
	s.mutex.Unlock()
	for _, step := range steps {
		if step.hold > 0 {
			if err := (drivers.WallClock{}).Sleep(s.life, step.hold); err != nil {
				return nil, syscall.ENODEV
			}
		}
		spoiled = append(spoiled, step.bytes...)
		if step.cut {
			s.mutex.Lock()
			s.round++
			s.back = time.Now().Add(step.away)
			s.memory, s.over = [2]memory{}, nil
			s.mutex.Unlock()
			return nil, syscall.ENODEV
		}
	}
	return spoiled, nil
}
