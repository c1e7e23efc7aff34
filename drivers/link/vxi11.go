package link

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strconv"
	"time"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
)

// grace is how much longer than its context an operation may take to leave the
// instrument in order: to abort what goes on there, or to take leave.
const grace = 200 * time.Millisecond

// mostRead is how many bytes are asked for at once.
const mostRead = 256 << 10

// mostWrite bounds the bytes of one write, whatever the instrument says it takes.
const mostWrite = 1 << 20

// openVXI11 connects to an instrument over VXI-11, or to one behind a gateway
// that speaks it.
func (o Opener) openVXI11(ctx context.Context, r Resource, c Config) (Link, error) {
	return o.openMessages(ctx, r, c, func(ctx context.Context) (messenger, error) { return o.connectVXI11(ctx, r, c) })
}

func (o Opener) connectVXI11(ctx context.Context, r Resource, c Config) (messenger, error) {
	port := r.Port
	if port == 0 {
		var err error
		if port, err = o.portOf(ctx, r.Host, vxi11.Core, vxi11.Version); err != nil {
			return nil, err
		}
	}
	conn, err := o.dialTCP(ctx, net.JoinHostPort(r.Host, strconv.Itoa(port)))
	if err != nil {
		return nil, err
	}
	v := &vxi{opener: o, host: r.Host, config: c, core: newCaller(conn, vxi11.Core, vxi11.Version)}
	if err := v.create(ctx, r.LANDevice); err != nil {
		return nil, errors.Join(err, v.core.close())
	}
	return v, nil
}

// vxi is one VXI-11 link.
type vxi struct {
	opener Opener
	host   string
	config Config

	core      *caller
	abort     *caller // opened when it is needed first: some instruments take one connection only
	abortPort uint16
	link      vxi11.Link
	most      int // bytes that the instrument takes in one write
	requests  *requests
}

func (v *vxi) create(ctx context.Context, device string) error {
	args := vxi11.CreateLinkParms{Client: 1, Lock: v.config.Lock, LockTimeout: v.lockTime(ctx), Device: device}
	var got vxi11.CreateLinkResp
	if err := v.core.call(ctx, vxi11.CreateLink, &args, &got, 0); err != nil {
		return err
	}
	if err := mean(got.Code); err != nil {
		return fmt.Errorf("device %q: %w", device, err)
	}
	v.link, v.abortPort = got.Link, got.AbortPort
	v.most = min(int(got.MaxReceive), mostWrite)
	if v.most <= 0 {
		v.most = vxi11.LeastReceive
	}
	return nil
}

// ioTime is the time left, in milliseconds, for the instrument to keep.
func ioTime(ctx context.Context) uint32 {
	deadline, ok := ctx.Deadline()
	if !ok {
		return uint32(DefaultTimeout.Milliseconds())
	}
	return uint32(min(max(time.Until(deadline).Milliseconds(), 1), 1<<31-1))
}

// lockTime is how long to wait for another link's lock, in milliseconds.
func (v *vxi) lockTime(ctx context.Context) uint32 {
	return min(uint32(v.config.LockTimeout.Milliseconds()), ioTime(ctx))
}

func (v *vxi) flags() int32 {
	if v.config.LockTimeout > 0 {
		return vxi11.WaitLock
	}
	return 0
}

// write sends the message in as many parts as the instrument wants.
func (v *vxi) write(ctx context.Context, message []byte) error {
	for {
		part := message[:min(len(message), v.most)]
		args := vxi11.WriteParms{Link: v.link, IOTimeout: ioTime(ctx), LockTimeout: v.lockTime(ctx), Flags: v.flags(), Data: part}
		if len(part) == len(message) {
			args.Flags |= vxi11.End
		}
		var got vxi11.WriteResp
		if err := v.core.call(ctx, vxi11.DeviceWrite, &args, &got, 0); err != nil {
			return v.interrupted(ctx, err)
		}
		if err := mean(got.Code); err != nil {
			return err
		}
		if int64(got.Size) > int64(len(part)) || got.Size == 0 && len(part) > 0 {
			return &Error{Kind: ErrProtocol, Err: fmt.Errorf("the instrument says that it took %d bytes of %d", got.Size, len(part))}
		}
		if message = message[got.Size:]; len(message) == 0 {
			return nil
		}
	}
}

// read takes parts until one ends the message.
func (v *vxi) read(ctx context.Context, most int) ([]byte, error) {
	args := vxi11.ReadParms{Link: v.link, Flags: v.flags()}
	if t := v.config.ReadTerminator; v.config.EndByTerminator && t != "" {
		args.Flags |= vxi11.TermCharSet
		args.TermChar = t[len(t)-1]
	}
	whole := []byte{}
	for {
		args.RequestSize = uint32(min(most-len(whole)+1, mostRead))
		args.IOTimeout, args.LockTimeout = ioTime(ctx), v.lockTime(ctx)
		var got vxi11.ReadResp
		if err := v.core.call(ctx, vxi11.DeviceRead, &args, &got, int(args.RequestSize)); err != nil {
			var late vxi11.ReadResp
			err = v.takeLate(ctx, err, &late)
			if len(whole) > 0 || len(late.Data) > 0 && late.Reason&vxi11.EndIndicator == 0 {
				err = inPart(err)
			}
			return nil, err
		}
		if err := mean(got.Code); err != nil {
			if n := len(whole) + len(got.Data); n > 0 {
				err = inPart(fmt.Errorf("after %d bytes of a message that has no end: %w", n, err))
			}
			return nil, err
		}
		whole = append(whole, got.Data...)
		switch {
		case len(whole) > most:
			return nil, &Error{Kind: ErrProtocol, Err: fmt.Errorf("message of more than %d bytes", most)}
		case got.Reason&vxi11.EndIndicator != 0, got.Reason&vxi11.Character != 0 && args.Flags&vxi11.TermCharSet != 0:
			return whole, nil
		case len(got.Data) == 0:
			return nil, &Error{Kind: ErrProtocol, Err: fmt.Errorf("a part without bytes and without END (reason %d)", got.Reason)}
		}
	}
}

// interrupted ends what goes on in the instrument when the time of a call was
// over, and takes its reply, so that nothing comes late.
func (v *vxi) interrupted(ctx context.Context, cause error) error {
	return v.takeLate(ctx, cause, &ignored{})
}

// takeLate is interrupted where the reply matters.
func (v *vxi) takeLate(ctx context.Context, cause error, late oncrpc.Message) error {
	if ctx.Err() == nil || !v.core.pending() || v.abortPort == 0 {
		return cause
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
	defer cancel()
	if err := v.stop(ctx); err != nil {
		return fmt.Errorf("%w (abort: %v)", cause, err)
	}
	// Whether it was carried out does not matter any more; a reply that does not
	// come is passed over later, by its number.
	_ = v.core.again(ctx, late, mostRead)
	return cause
}

// stop is the device abort.
func (v *vxi) stop(ctx context.Context) error {
	if v.abort == nil {
		conn, err := v.opener.dialTCP(ctx, net.JoinHostPort(v.host, strconv.Itoa(int(v.abortPort))))
		if err != nil {
			return err
		}
		v.abort = newCaller(conn, vxi11.Async, vxi11.Version)
	}
	var got vxi11.Error
	link := v.link
	if err := v.abort.call(ctx, vxi11.DeviceAbort, &link, &got, 0); err != nil {
		return err
	}
	return got.Code.Err()
}

// ignored is a result of any content.
type ignored struct{ all []byte }

func (i *ignored) XDR(x *oncrpc.XDR) { x.Rest(&i.all) }
