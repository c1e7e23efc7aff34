package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"syscall"
	"time"

	"bandproof/drivers/link/kernel"
)

// openBoard opens a GPIB instrument through a board that linux-gpib drives.
func (o Opener) openBoard(ctx context.Context, r Resource, c Config) (Link, error) {
	s, err := o.system("a GPIB board")
	if err != nil {
		return nil, &Error{Address: r.String(), Op: "open", Kind: errors.ErrUnsupported,
			Err: fmt.Errorf("%w; for an instrument behind an adapter that takes the ++ controller commands, state its address as via", errors.Unwrap(err))}
	}
	path := fmt.Sprintf("/dev/gpib%d", r.Board)
	return o.openMessages(ctx, r, c, func(ctx context.Context) (messenger, error) {
		d, err := openDevice(s, path, false) // several instruments are on one bus
		if err != nil {
			return nil, refusedDevice(path, err, "is the board plugged in, and is linux-gpib's driver of it loaded? Where the instrument is behind an adapter that takes the ++ controller commands, state its address as via")
		}
		b := &boardMessenger{device: d, config: c, at: gpibAddress{r.Primary, r.Secondary}}
		if err := b.do(ctx, b.setUp); err != nil {
			return nil, errors.Join(boardError(err, b.at), b.giveUp())
		}
		return b, nil
	})
}

// boardMessenger speaks through linux-gpib's driver. Whoever has the board
// keeps all others of the machine from the bus, so it is given back between
// messages, and while an instrument has nothing to say. Not tried on hardware:
// tests have a model of the driver.
type boardMessenger struct {
	*device
	config Config
	at     gpibAddress
	own    kernel.BoardInfo
	failed bool // the last operation did not end well
}

// boardSlice is how long the board waits for an instrument in one go.
const boardSlice = 300 * time.Millisecond

// setUp asks what the board is, and makes it the controller in charge if it
// is not yet: a board that can't send commands has not cleared the interface
// since it was switched on.
func (b *boardMessenger) setUp() error {
	info := kernel.EmptyBoardInfo()
	if err := b.ask(kernel.GPIBBoardInfo, info); err != nil {
		return err
	}
	b.own, _ = kernel.ParseBoardInfo(info)
	if !b.own.SystemController {
		return &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("%s is not the system controller of its bus; set \"master = yes\" in linux-gpib's configuration", b.path)}
	}
	return b.having(func() error {
		if err := b.ask(kernel.GPIBRemote, kernel.Uint32(1)); err != nil {
			return err
		}
		err := b.command(kernel.UNL)
		if errors.Is(err, syscall.EIO) {
			return b.clearInterface()
		}
		return err
	})
}

// having holds the board for some calls.
func (b *boardMessenger) having(calls func() error) error {
	if err := b.ask(kernel.GPIBLock, kernel.Uint32(1)); err != nil {
		return fmt.Errorf("wait for the board: %w", err)
	}
	err := b.ask(kernel.GPIBTimeout, kernel.Uint32(uint32(boardSlice.Microseconds())))
	if err == nil {
		err = calls()
	}
	return errors.Join(err, b.ask(kernel.GPIBLock, kernel.Uint32(0)))
}

// clearInterface is IFC: nobody talks or listens any longer.
func (b *boardMessenger) clearInterface() error {
	return b.ask(kernel.GPIBClear, kernel.Uint32(100)) // microseconds, the least that IEEE 488.1 allows
}

// move makes a transfer and tells how far it got.
func (b *boardMessenger) move(request uint32, data []byte, end bool) (kernel.Transfer, error) {
	argument := kernel.Transfer{Requested: uint32(len(data)), End: end}.Append(nil)
	err := b.Ioctl(b.fd, request, argument, data)
	t, _ := kernel.ParseTransfer(argument)
	return t, err
}

// command sends command bytes, with ATN.
func (b *boardMessenger) command(bytes ...byte) error {
	t, err := b.move(kernel.GPIBCommand, bytes, false)
	if err == nil && int(t.Completed) < len(bytes) {
		err = fmt.Errorf("%d of %d command bytes were taken", t.Completed, len(bytes))
	}
	return err
}

// addressed gives the address of a role, with the secondary one where there is one.
func addressed(role byte, primary, secondary int) []byte {
	to := []byte{role | byte(primary)}
	if secondary >= 0 {
		to = append(to, kernel.MSA+byte(secondary))
	}
	return to
}

// listener makes the board talk and the instrument listen.
func (b *boardMessenger) listener() []byte {
	talk := addressed(kernel.TAD, int(b.own.Primary), int(b.own.Secondary))
	return append(append(talk, kernel.UNL), addressed(kernel.LAD, b.at.primary, b.at.secondary)...)
}

// talker makes the instrument talk and the board listen.
func (b *boardMessenger) talker() []byte {
	listen := append([]byte{kernel.UNL}, addressed(kernel.LAD, int(b.own.Primary), int(b.own.Secondary))...)
	return append(listen, addressed(kernel.TAD, b.at.primary, b.at.secondary)...)
}

// operate has the calls made with the board held.
func (b *boardMessenger) operate(ctx context.Context, calls func() error) error {
	err := b.do(ctx, func() error { return b.having(calls) })
	b.failed = err != nil
	return boardError(err, b.at)
}

func (b *boardMessenger) write(ctx context.Context, message []byte) error {
	rest := bytes.Clone(message)
	if len(rest) == 0 {
		return nil
	}
	return b.operate(ctx, func() error {
		if err := b.command(b.listener()...); err != nil {
			return err
		}
		for {
			t, err := b.move(kernel.GPIBWrite, rest, true)
			rest = rest[min(int(t.Completed), len(rest)):]
			switch {
			case err == nil && len(rest) == 0:
				return nil
			case err == nil && t.Completed == 0:
				return errors.New("the board takes no bytes")
			case err != nil && (!errors.Is(err, syscall.ETIMEDOUT) || ctx.Err() != nil):
				return err
			}
		}
	})
}

func (b *boardMessenger) read(ctx context.Context, most int) ([]byte, error) {
	wait := 2 * time.Millisecond
	for {
		var whole []byte // none of these is looked at where the calls were given up
		var done bool
		err := b.operate(ctx, func() error {
			if err := b.device.whole(); err != nil {
				return err
			}
			if b.config.Common && until(ctx, 0, time.Hour) > 2*boardSlice {
				status, err := b.poll()
				if err != nil || status&messageAvailable == 0 {
					return err
				}
			}
			var err error
			whole, done, err = b.message(ctx, most)
			return err
		})
		if err != nil {
			return nil, err
		}
		if done {
			return whole, nil
		}
		if err := pause(ctx, wait); err != nil {
			return nil, err
		}
		wait = min(2*wait, 50*time.Millisecond)
	}
}

// message reads one message. done is false where the instrument had nothing to
// say for the time of one slice; once it has begun the bus stays with it.
func (b *boardMessenger) message(ctx context.Context, most int) (whole []byte, done bool, err error) {
	end := kernel.EOS{}
	if t := b.config.ReadTerminator; b.config.NoEOI && t != "" {
		end = kernel.EOS{Char: uint32(t[len(t)-1]), Flags: kernel.REOS | kernel.BIN}
	}
	if err := b.ask(kernel.GPIBEOS, end.Append(nil)); err != nil {
		return nil, false, err
	}
	if err := b.command(b.talker()...); err != nil {
		return nil, false, err
	}
	part := make([]byte, 16<<10)
	defer func() { b.within = !done && len(whole) > 0 }()
	for {
		t, err := b.move(kernel.GPIBRead, part, false)
		whole = append(whole, part[:min(int(t.Completed), len(part))]...)
		switch {
		case len(whole) > most:
			return whole, false, &Error{Kind: ErrProtocol, Err: fmt.Errorf("more than %d bytes without an end", most)}
		case t.End:
			return whole, true, nil
		case err == nil && t.Completed == 0:
			return whole, false, errors.New("the board gives no bytes")
		case err == nil && ctx.Err() == nil:
		case err != nil && !errors.Is(err, syscall.ETIMEDOUT):
			return whole, false, err
		case len(whole) == 0:
			return nil, false, b.command(kernel.UNT)
		case ctx.Err() != nil:
			return whole, false, inPart(fmt.Errorf("%d bytes came that are no whole message; does the instrument end its replies with EOI?", len(whole)))
		}
	}
}

func (b *boardMessenger) poll() (byte, error) {
	argument := kernel.SerialPoll{Primary: uint32(b.at.primary), Secondary: int32(b.at.secondary)}.Append(nil)
	err := b.ask(kernel.GPIBSerialPoll, argument)
	p, _ := kernel.ParseSerialPoll(argument)
	return p.Status, err
}

func (b *boardMessenger) status(ctx context.Context) (byte, error) {
	var status byte
	err := b.operate(ctx, func() (err error) { status, err = b.poll(); return err })
	if err != nil {
		return 0, err
	}
	return status, nil
}

func (b *boardMessenger) clear(ctx context.Context) error {
	failed := b.failed
	return b.operate(ctx, func() error {
		if failed { // the bus may be stuck in the middle of a byte
			if err := b.clearInterface(); err != nil {
				return err
			}
		}
		err := b.command(append(b.listener(), kernel.SDC)...)
		b.within = b.within && err != nil
		return err
	})
}

func (b *boardMessenger) trigger(ctx context.Context) error {
	return b.operate(ctx, func() error { return b.command(append(b.listener(), kernel.GET)...) })
}

// remote is local lockout, which an instrument heeds once it is addressed.
func (b *boardMessenger) remote(ctx context.Context, on bool) error {
	what := byte(kernel.GTL)
	if on {
		what = kernel.LLO
	}
	return b.operate(ctx, func() error { return b.command(append(b.listener(), what)...) })
}

// boardError says what to check about an error of the driver.
func boardError(err error, at gpibAddress) error {
	switch {
	case errors.Is(err, syscall.ENOTCONN), isNumber(err, noListener):
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("nobody listens at GPIB address %d: %w; is the instrument on, and is its address right?", at.primary, err)}
	case errors.Is(err, syscall.ENODEV):
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; the board has no driver: was gpib_config run?", err)}
	case errors.Is(err, syscall.EINVAL):
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; the board is not online: was gpib_config run?", err)}
	}
	return driverError(err)
}

// noListener is ECOMM, which not every system knows.
const noListener = 70

func isNumber(err error, number syscall.Errno) bool {
	var got syscall.Errno
	return errors.As(err, &got) && got == number
}
