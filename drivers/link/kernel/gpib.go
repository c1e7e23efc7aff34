package kernel

import "encoding/binary"

const gpib = 160 // GPIB_CODE

// Sizes of arguments in bytes.
const (
	TransferSize   = 24 // struct gpib_read_write_ioctl
	serialPollSize = 12 // struct gpib_serial_poll_ioctl
	eosSize        = 8  // struct gpib_eos_ioctl
	boardInfoSize  = 28 // struct gpib_board_info_ioctl
)

// Requests of /dev/gpibN. In comments: what the argument is.
var (
	GPIBRead       = request(read|write, gpib, 100, TransferSize)  // Transfer
	GPIBWrite      = request(read|write, gpib, 101, TransferSize)  // Transfer
	GPIBCommand    = request(read|write, gpib, 102, TransferSize)  // Transfer of command bytes, with ATN
	GPIBClear      = request(write, gpib, 9, 4)                    // IFC for so many microseconds
	GPIBRemote     = request(write, gpib, 10, 4)                   // 1: REN true
	GPIBTimeout    = request(write, gpib, 17, 4)                   // microseconds; 0: none
	GPIBSerialPoll = request(read|write, gpib, 18, serialPollSize) // SerialPoll
	GPIBEOS        = request(write, gpib, 19, eosSize)             // EOS
	GPIBLock       = request(write, gpib, 26, 4)                   // 1: this thread has the board; 0: no longer
	GPIBBoardInfo  = request(read, gpib, 29, boardInfoSize)        // BoardInfo
)

// Command bytes, sent with ATN (IEEE 488.1; enum cmd_byte of gpib_user.h).
const (
	GTL  = 0x01 // go to local
	SDC  = 0x04 // selected device clear
	GET  = 0x08 // group execute trigger
	LLO  = 0x11 // local lockout
	SPE  = 0x18 // serial poll enable
	SPD  = 0x19 // serial poll disable
	LAD  = 0x20 // listen address, with a primary address
	UNL  = 0x3f // unlisten
	TAD  = 0x40 // talk address, with a primary address
	UNT  = 0x5f // untalk
	MSA  = 0x60 // secondary address
	REOS = 0x0400
	BIN  = 0x1000
)

// Transfer is the argument of a read, write or command; the address of the
// bytes themselves comes first in it, and is filled in by who makes the call.
type Transfer struct {
	Requested, Completed uint32
	End                  bool // write: EOI with the last byte; read: END was seen
	Handle               int32
}

// Append writes the argument, with 0 for the address.
func (t Transfer) Append(to []byte) []byte {
	to = binary.NativeEndian.AppendUint64(to, 0)
	to = binary.NativeEndian.AppendUint32(to, t.Requested)
	to = binary.NativeEndian.AppendUint32(to, t.Completed)
	to = binary.NativeEndian.AppendUint32(to, number(t.End))
	return binary.NativeEndian.AppendUint32(to, uint32(t.Handle))
}

// ParseTransfer reads what Append writes; ok: it was long enough.
func ParseTransfer(p []byte) (t Transfer, ok bool) {
	if len(p) < TransferSize {
		return Transfer{}, false
	}
	return Transfer{Requested: at(p, 8), Completed: at(p, 12), End: at(p, 16) != 0, Handle: int32(at(p, 20))}, true
}

// SerialPoll asks for the status byte of the instrument at an address.
type SerialPoll struct {
	Primary   uint32
	Secondary int32
	Status    byte
}

// Append writes the argument.
func (s SerialPoll) Append(to []byte) []byte {
	to = binary.NativeEndian.AppendUint32(to, s.Primary)
	to = binary.NativeEndian.AppendUint32(to, uint32(s.Secondary))
	return append(to, s.Status, 0, 0, 0)
}

// ParseSerialPoll reads what Append writes.
func ParseSerialPoll(p []byte) (s SerialPoll, ok bool) {
	if len(p) < serialPollSize {
		return SerialPoll{}, false
	}
	return SerialPoll{Primary: at(p, 0), Secondary: int32(at(p, 4)), Status: p[8]}, true
}

// EOS sets the character that ends a read, beside EOI.
type EOS struct {
	Char  uint32
	Flags uint32 // REOS: Char ends a read; BIN: all eight bits of it count
}

// Append writes the argument.
func (e EOS) Append(to []byte) []byte {
	return binary.NativeEndian.AppendUint32(binary.NativeEndian.AppendUint32(to, e.Char), e.Flags)
}

// ParseEOS reads what Append writes.
func ParseEOS(p []byte) (e EOS, ok bool) {
	if len(p) < eosSize {
		return EOS{}, false
	}
	return EOS{Char: at(p, 0), Flags: at(p, 4)}, true
}

// BoardInfo is what is asked of a board: its own address and its part on the bus.
type BoardInfo struct {
	Primary          uint32
	Secondary        int32 // -1: none
	SystemController bool
}

// Append writes the argument as the kernel fills it.
func (b BoardInfo) Append(to []byte) []byte {
	to = binary.NativeEndian.AppendUint32(to, b.Primary)
	to = binary.NativeEndian.AppendUint32(to, uint32(b.Secondary))
	to = append(to, make([]byte, 8)...) // parallel poll, polling by itself
	to = binary.NativeEndian.AppendUint32(to, number(b.SystemController))
	return append(to, make([]byte, 8)...) // T1 delay, flags
}

// ParseBoardInfo reads what Append writes. It is empty before the kernel has
// filled it.
func ParseBoardInfo(p []byte) (b BoardInfo, ok bool) {
	if len(p) < boardInfoSize {
		return BoardInfo{}, false
	}
	return BoardInfo{Primary: at(p, 0), Secondary: int32(at(p, 4)), SystemController: at(p, 16) != 0}, true
}

// EmptyBoardInfo is room for the kernel to fill.
func EmptyBoardInfo() []byte { return make([]byte, boardInfoSize) }

func at(p []byte, offset int) uint32 { return binary.NativeEndian.Uint32(p[offset:]) }

func number(b bool) uint32 {
	if b {
		return 1
	}
	return 0
}
