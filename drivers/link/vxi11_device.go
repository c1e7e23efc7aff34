package link

import (
	"context"
	"errors"
	"fmt"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
)

// generic makes one of the calls that have nothing but the link and the times.
func (v *vxi) generic(ctx context.Context, procedure uint32) error {
	var got vxi11.Error
	if err := v.core.call(ctx, procedure, v.genericParms(ctx), &got, 0); err != nil {
		return v.interrupted(ctx, err)
	}
	return mean(got.Code)
}

func (v *vxi) genericParms(ctx context.Context) oncrpc.Message {
	return &vxi11.GenericParms{Link: v.link, Flags: v.flags(), LockTimeout: v.lockTime(ctx), IOTimeout: ioTime(ctx)}
}

// clear is the device clear. Behind a call that was given up and not answered
// it might wait for ever, so then a new connection is better.
func (v *vxi) clear(ctx context.Context) error {
	if v.core.pending() {
		return &Error{Kind: ErrDisconnected, Err: errors.New("the instrument still owes the answer to an earlier call")}
	}
	return v.generic(ctx, vxi11.DeviceClear)
}

func (v *vxi) trigger(ctx context.Context) error { return v.generic(ctx, vxi11.DeviceTrigger) }

func (v *vxi) remote(ctx context.Context, on bool) error {
	if on {
		return v.generic(ctx, vxi11.DeviceRemote)
	}
	return v.generic(ctx, vxi11.DeviceLocal)
}

func (v *vxi) status(ctx context.Context) (byte, error) {
	var got vxi11.ReadSTBResp
	if err := v.core.call(ctx, vxi11.DeviceReadSTB, v.genericParms(ctx), &got, 0); err != nil {
		return 0, v.interrupted(ctx, err)
	}
	return got.Status, mean(got.Code)
}

// close takes leave, so that the instrument has its link back at once.
func (v *vxi) close() error {
	ctx, cancel := context.WithTimeout(context.Background(), grace)
	defer cancel()
	if v.core.broken == nil && !v.core.pending() {
		if v.requests != nil {
			v.disable(ctx)
		}
		link := v.link
		var got vxi11.Error
		if err := v.core.call(ctx, vxi11.DestroyLink, &link, &got, 0); err != nil || got.Code != vxi11.NoError {
			v.opener.Log.Debug("destroy link", "host", v.host, "error", errors.Join(err, got.Code.Err()))
		}
	}
	err := v.core.close()
	if v.abort != nil {
		err = errors.Join(err, v.abort.close())
	}
	if v.requests != nil {
		err = errors.Join(err, v.requests.close())
	}
	return err
}

// kinds of what the instrument answers; any other is ErrProtocol.
var kinds = map[vxi11.Code]error{
	vxi11.DeviceNotAccessible:       ErrAddress,
	vxi11.InvalidLink:               ErrDisconnected,
	vxi11.OperationNotSupported:     errors.ErrUnsupported,
	vxi11.OutOfResources:            ErrBusy,
	vxi11.LockedByAnotherLink:       ErrBusy,
	vxi11.IOTimeout:                 ErrTimeout,
	vxi11.IOError:                   ErrDisconnected,
	vxi11.InvalidAddress:            ErrAddress,
	vxi11.Aborted:                   ErrDirty,
	vxi11.ChannelAlreadyEstablished: ErrBusy,
}

// mean gives what the instrument answers its kind. The code itself stays in
// the chain.
func mean(code vxi11.Code) error {
	if code == vxi11.NoError {
		return nil
	}
	return &Error{Kind: or(kinds[code], ErrProtocol), Err: fmt.Errorf("the instrument answers: %w", code)}
}
