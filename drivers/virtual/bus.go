package virtual

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
)

// Conversation is what a link that carries whole messages needs of an
// instrument; a *Talk is one.
type Conversation interface {
	Receive(message []byte)
	Send(ctx context.Context, most int) (part []byte, end bool, err error)
	Clear()
	Trigger()
	StatusByte() byte
	Remote(on bool)
	Close()
}

// BusAddress is where an instrument sits on a GPIB bus. Secondary is -1 where
// there is none.
type BusAddress struct{ Primary, Secondary int }

// String is as VISA writes it: 7, or 7::1.
func (a BusAddress) String() string {
	if a.Secondary < 0 {
		return fmt.Sprint(a.Primary)
	}
	return fmt.Sprintf("%d::%d", a.Primary, a.Secondary)
}

// Bus is a GPIB bus with instruments on it. The controller is whatever speaks
// to them through it: an adapter, or a board's driver.
type Bus struct {
	at   map[BusAddress]Conversation
	once sync.Once

	mutex sync.Mutex
	held  map[BusAddress][]byte // came without EOI and is not yet a message
}

// NewBus puts instruments on a bus. Close closes them.
func NewBus(at map[BusAddress]Conversation) *Bus {
	return &Bus{at: maps.Clone(at), held: map[BusAddress][]byte{}}
}

// Bus puts instruments of the bench on a bus, by their names.
func (b *Bench) Bus(names map[BusAddress]string) (*Bus, error) {
	at := map[BusAddress]Conversation{}
	for address, name := range names {
		t, err := b.Talk(name)
		if err == nil && (address.Primary < 0 || address.Primary > 30 || address.Secondary < -1 || address.Secondary > 30) {
			t.Close()
			err = fmt.Errorf("GPIB address %s of %s: expected 0 to 30", address, name)
		}
		if err != nil {
			NewBus(at).Close()
			return nil, err
		}
		at[address] = t
	}
	return NewBus(at), nil
}

// Addresses lists where instruments are.
func (b *Bus) Addresses() []BusAddress {
	return slices.SortedFunc(maps.Keys(b.at), func(x, y BusAddress) int {
		return (x.Primary-y.Primary)*100 + x.Secondary - y.Secondary
	})
}

// Close ends all conversations.
func (b *Bus) Close() {
	b.once.Do(func() {
		for _, c := range b.at {
			c.Close()
		}
	})
}

// errNobody: no instrument has the address.
var errNobody = errors.New("nobody listens")

// listen hands bytes to an instrument; eoi: the last of them ends a message.
func (b *Bus) listen(to BusAddress, data []byte, eoi bool) error {
	c, ok := b.at[to]
	if !ok {
		return errNobody
	}
	b.mutex.Lock()
	whole := append(b.held[to], data...)
	ended := eoi || len(whole) > 0 && whole[len(whole)-1] == '\n'
	b.held[to] = whole
	if ended {
		delete(b.held, to)
	}
	b.mutex.Unlock()
	if ended {
		c.Receive(whole)
	}
	return nil
}

// talk takes bytes of an instrument.
func (b *Bus) talk(ctx context.Context, from BusAddress, most int) (part []byte, eoi bool, err error) {
	c, ok := b.at[from]
	if !ok {
		<-ctx.Done()
		return nil, false, ctx.Err()
	}
	return c.Send(ctx, most)
}

// command is one of the addressed commands for an instrument that may not be there.
func (b *Bus) command(to BusAddress, do func(c Conversation)) {
	b.mutex.Lock()
	delete(b.held, to)
	b.mutex.Unlock()
	if c, ok := b.at[to]; ok {
		do(c)
	}
}
