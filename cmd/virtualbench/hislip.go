package main

import (
	"context"
	"fmt"
	"net"
	"strings"

	"bandproof/drivers/virtual"
)

// hislipPlace reads HOST:PORT[,SUBADDRESS].
func (h hosts) hislipPlace(name, where string) (place, error) {
	at, sub, err := h.take(name, where, "hislip", func(sub string) error {
		if !strings.HasPrefix(sub, "hislip") {
			return fmt.Errorf("sub-address %q: expected hislip0, hislip1 or the like", sub)
		}
		return nil
	})
	if err != nil {
		return place{}, err
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		host, port, serve, closing, err := at.open(name, sub, func(ctx context.Context, l net.Listener) error {
			return b.ServeHiSLIP(ctx, l, virtual.HiSLIP{Instruments: at.instruments})
		})
		return "TCPIP0::" + host + "::" + sub + "," + port + "::INSTR", serve, closing, err
	}}, nil
}
