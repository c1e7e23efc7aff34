package isolate

import (
	"context"
	"encoding/binary"
	"hash/maphash"
	"math"
	"slices"
)

// column is looks to which every variant does the same.
type column struct {
	count   float64
	effects []uint16 // by variant: which of the table's
	table   *table
}

// table is what faults do to what was seen at a look, and what any two of them
// do together, as log likelihoods over that of a good unit. Effect 0 is none.
type table struct {
	seen int
	ways [][]distribution // by effect and way
	fit  [][]float64
	most []float64 // of each effect with any other
}

// see works out what each variant does to each look, and puts looks together to
// which all do the same.
func (w *weighing) see(ctx context.Context) error {
	tables, same, seed := map[string]*table{}, map[uint64][]*column{}, maphash.MakeSeed()
	for k := range w.looks {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		e := newEffects(w.looks[k].seen, len(w.looks[k].ways))
		c := &column{1, w.effects(&w.looks[k], e), nil}
		if c.table = tables[string(e.keys)]; c.table == nil {
			c.table = e.table()
			tables[string(e.keys)] = c.table
		}
		var h maphash.Hash
		h.SetSeed(seed)
		for _, x := range c.effects {
			h.WriteByte(byte(x))
			h.WriteByte(byte(x >> 8))
		}
		sum := h.Sum64()
		at := slices.IndexFunc(same[sum], func(x *column) bool { return x.table == c.table && slices.Equal(x.effects, c.effects) })
		if at >= 0 {
			same[sum][at].count++
			continue
		}
		same[sum] = append(same[sum], c)
		w.columns = append(w.columns, c)
	}
	return nil
}

// effects numbers what each variant does to a look.
func (w *weighing) effects(l *look, e *effects) []uint16 {
	list := make([]uint16, len(w.all))
	d, touched, stage := make([]distribution, len(l.ways)), false, -1
	for k, v := range w.all {
		if v.stage != stage {
			stage, touched = v.stage, l.touches(v.stage)
		}
		if !touched {
			continue
		}
		for i, x := range l.ways {
			d[i] = w.n.inWay(v, l, x)
		}
		list[k] = e.number(d)
	}
	return list
}

// effects are the different things that faults do at a look. Two that can't be
// told apart by what was seen there, whatever else is at fault, are one.
type effects struct {
	seen  int
	index map[string]uint16
	ways  [][]distribution
	keys  []byte // of all of them, in order
	key   []byte
}

func newEffects(seen, ways int) *effects {
	e := &effects{seen: seen, index: map[string]uint16{}, keys: []byte{byte(seen), byte(ways), byte(ways >> 8)}}
	none := make([]distribution, ways)
	for k := range none {
		none[k] = certain
	}
	e.number(none)
	return e
}

func (e *effects) number(ways []distribution) uint16 {
	e.key = e.key[:0]
	for k := range ways {
		e.key = matters(e.key, &ways[k], e.seen)
	}
	at, ok := e.index[string(e.key)]
	if !ok {
		at = uint16(len(e.ways))
		e.index[string(e.key)] = at
		e.ways = append(e.ways, slices.Clone(ways))
		e.keys = append(e.keys, e.key...)
	}
	return at
}

// matters appends what of a distribution both asks for, for one symptom.
func matters(key []byte, d *distribution, seen int) []byte {
	add := func(x float64) { key = binary.LittleEndian.AppendUint64(key, math.Float64bits(x)) }
	switch seen {
	case sGood, sNone:
		add(d[seen])
	case sOther:
		for _, x := range d {
			add(x)
		}
	default:
		add(d[sGood])
		add(d[sNone])
		add(d[seen])
	}
	return key
}

func (e *effects) table() *table {
	t := &table{e.seen, e.ways, make([][]float64, len(e.ways)), make([]float64, len(e.ways))}
	good := math.Log(certain.leaky()[e.seen])
	for a := range e.ways {
		t.fit[a] = make([]float64, len(e.ways))
	}
	for a, x := range e.ways {
		for b, y := range e.ways[:a+1] {
			p := 0.0
			for k := range x {
				p += both(x[k], y[k])[e.seen]
			}
			fit := math.Log((1-Leak)*p/float64(len(x))+Leak/symptoms) - good
			t.fit[a][b], t.fit[b][a] = fit, fit
		}
	}
	for a := range e.ways {
		t.most[a] = slices.Max(t.fit[a])
	}
	return t
}
