package procedures

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// LoadBench reads a bench file; errors as in LoadProcedure.
func LoadBench(file string, text []byte) (*Bench, error) {
	b := &Bench{}
	d := tomlfile.Decode(file, text, b)
	c := checker{d: d}
	if !c.schema(BenchSchema) {
		return b, d.Err()
	}
	d.PlainText()
	c.stated("name", b.Name)
	c.stated("laboratory.name", b.Laboratory.Name)
	c.distinct("reference", names(b.References, func(r Reference) string { return r.Name }))
	c.distinct("source", names(b.Sources, func(s Source) string { return s.Name }))
	c.distinct("path", names(b.Paths, func(p Path) string { return p.Name }))
	for k, r := range b.References {
		c.reference(fmt.Sprintf("reference[%d]", k), r, b)
	}
	for k, s := range b.Sources {
		c.source(fmt.Sprintf("source[%d]", k), s, b)
	}
	c.connection("counter", b.Counter.Connection)
	c.known("counter.reference", b.Counter.Reference, append(append([]string{runsOwn}, referenceNames(b)...), sourceNames(b)...))
	if fed, ok := b.Source(b.Counter.Reference); ok && fed.Reference == runsUnit {
		c.add("counter.reference", "is source %q, which itself runs from the unit: neither would have a timebase", fed.Name)
	}
	for k, p := range b.Paths {
		c.path(fmt.Sprintf("path[%d]", k), p, b)
	}
	c.devices(b)
	c.distinct("notify", receiverNames(b))
	for k, n := range b.Notify {
		c.notify(fmt.Sprintf("notify[%d]", k), n)
	}
	if b.Sheet != nil {
		c.sheet("sheet", *b.Sheet)
	}
	if b.MoveTime != nil {
		c.time("move_time", *b.MoveTime, "0 s", "1 d")
	}
	if b.Patience != nil {
		c.time("link_patience", *b.Patience, "0 s", "7 d")
	}
	return b, d.Err()
}

// stated complains of a text that is given but empty.
func (c checker) stated(path, text string) {
	if c.given(path) && strings.TrimSpace(text) == "" {
		c.add(path, "is empty; it must be given")
	}
}

func referenceNames(b *Bench) []string {
	return names(b.References, func(r Reference) string { return r.Name })
}

func sourceNames(b *Bench) []string {
	return names(b.Sources, func(s Source) string { return s.Name })
}

// known complains of a name that refers to nothing.
func (c checker) known(path, name string, list []string) {
	if c.given(path) && !slices.Contains(list, name) {
		c.add(path, "is %q; expected one of %s", name, strings.Join(list, ", "))
	}
}

func (c checker) standard(path string, s Standard) {
	if !s.Calibrated.IsZero() && !s.Due.IsZero() && s.Due.Before(s.Calibrated.Time) {
		c.add(path+".due", "is %s, before the calibration on %s", s.Due, s.Calibrated)
	}
}

func (c checker) reference(path string, r Reference, b *Bench) {
	c.standard(path, r.Standard)
	if c.given(path+".uncertainty") && (r.Uncertainty.Sign() <= 0 || r.Uncertainty.Float() > 1e-3) {
		c.add(path+".uncertainty", "is %s; expected above 0 and at most 0.1 %%", r.Uncertainty)
	}
	if o := r.Offset.Float(); o > 1e-3 || o < -1e-3 {
		c.add(path+".offset", "is %s; expected within ±0.1 %%", r.Offset)
	}
	if r.Drift.Sign() != 0 && r.Calibrated.IsZero() {
		c.add(path+".drift_per_day", "needs calibrated, the date from which it counts")
	}
	if r.Name == runsOwn || r.Name == runsUnit {
		c.add(path+".name", "%q has a meaning of its own; choose another name", r.Name)
	}
	if r.Ancestor != "" {
		c.known(path+".steered_by", r.Ancestor, referenceNames(b))
	}
}

func (c checker) source(path string, s Source, b *Bench) {
	c.standard(path, s.Standard)
	c.connection(path, s.Connection)
	c.span(path+".range", s.Range[0], s.Range[1])
	if c.given(path + ".level") {
		switch {
		case s.Level[0].IsVoltage() || s.Level[1].IsVoltage():
			c.add(path+".level", "is a voltage; a source's level range is stated in dBm into 50 Ω")
		case s.Level[0].DBm(quantity.Dbm50()) >= s.Level[1].DBm(quantity.Dbm50()):
			c.add(path+".level", "is reversed: %s is not below %s; write [lowest, highest]", s.Level[0], s.Level[1])
		}
	}
	if s.LevelUncertainty.Sign() < 0 || s.Transient.Sign() < 0 {
		c.add(path+".level_uncertainty", "and level_transient can't be negative")
	}
	if s.Resolution.Sign() < 0 {
		c.add(path+".resolution", "is %s; expected at least zero", s.Resolution)
	}
	if s.LevelResolution != nil && s.LevelResolution.Sign() <= 0 {
		c.add(path+".level_resolution", "is %s; expected above zero", s.LevelResolution)
	}
	c.dBc(path+".harmonics", s.Harmonics)
	c.dBc(path+".subharmonics", s.Subharmonics)
	c.vswr(path+".vswr", s.VSWR)
	c.known(path+".reference", s.Reference, append([]string{runsOwn, runsUnit}, referenceNames(b)...))
	if s.Reference == runsOwn && s.OwnTimebase == nil {
		c.add(path+".reference", "is own; then own_timebase must state the accuracy of the source's timebase")
	}
	if s.OwnTimebase != nil && (s.OwnTimebase.Sign() <= 0 || s.OwnTimebase.Float() > 0.01) {
		c.add(path+".own_timebase", "is %s; expected above 0 and at most 1 %%", s.OwnTimebase)
	}
}

func (c checker) connection(path string, x Connection) {
	if !x.ByHand() && !c.d.Has(path+".address") && c.d.Has(path) {
		c.add(path+".address", "is missing; it must be given")
	}
	c.byHand(path, x)
	c.stated(path+".profile", x.Profile)
	if x.Address == "" && !x.ByHand() && c.given(path+".address") {
		c.add(path+".address", "is empty; expected a VISA resource name such as TCPIP0::192.0.2.7::5025::SOCKET")
	}
	c.time(path+".timeout", x.Timeout, "1 ms", "1 h")
	terminators := []string{"LF", "CR", "CRLF", "none"}
	c.oneOf(path+".read_terminator", x.ReadTerminator, terminators...)
	c.oneOf(path+".write_terminator", x.WriteTerminator, terminators...)
	c.oneOf(path+".parity", x.Parity, "none", "odd", "even", "mark", "space")
	c.oneOf(path+".stop_bits", x.StopBits, "1", "1.5", "2")
	c.oneOf(path+".flow_control", x.Flow, "none", "xonxoff", "rtscts")
	c.oneOf(path+".dtr", x.DTR, "on", "off")
	c.oneOf(path+".rts", x.RTS, "on", "off")
	for key, pace := range map[string]quantity.Duration{".character_pace": x.CharacterPace, ".line_pace": x.LinePace, ".lock_timeout": x.LockTimeout} {
		if c.given(path + key) {
			c.time(path+key, pace, "0 s", "1 min")
		}
	}
	if c.given(path+".data_bits") && x.DataBits != 7 && x.DataBits != 8 {
		c.add(path+".data_bits", "is %d; expected 7 or 8", x.DataBits)
	}
	if c.given(path+".baud") && (x.Baud < 50 || x.Baud > 4_000_000) {
		c.add(path+".baud", "is %d; expected 50 to 4000000", x.Baud)
	}
}

func (c checker) path(path string, p Path, b *Bench) {
	c.stated(path+".input", p.Input)
	c.known(path+".source", p.Source, sourceNames(b))
	c.vswr(path+".source_end_vswr", p.SourceEnd)
	c.vswr(path+".input_end_vswr", p.InputEnd)
	if len(p.SourceEnd) > 0 != (len(p.InputEnd) > 0) {
		c.add(path, "states the VSWR of one end only; give source_end_vswr and input_end_vswr, or that of its parts")
	}
	for k, part := range p.Parts {
		at := fmt.Sprintf("%s.part[%d]", path, k)
		if len(part.Loss) == 0 && c.given(at+".loss") {
			c.add(at+".loss", "is empty; give frequency and loss, such as [[\"1 GHz\", \"0.8 dB\"]]")
		}
		if part.Uncertainty.Sign() < 0 {
			c.add(at+".uncertainty", "is %s; expected at least zero", part.Uncertainty)
		}
		for m, e := range part.Loss {
			if m > 0 && e.At.Cmp(part.Loss[m-1].At) <= 0 {
				c.add(fmt.Sprintf("%s.loss[%d]", at, m), "%s does not rise above %s; a loss table rises in frequency", e.At, part.Loss[m-1].At)
			}
			if e.Loss.Sign() < 0 {
				c.add(fmt.Sprintf("%s.loss[%d]", at, m), "is %s; a loss can't be negative", e.Loss)
			}
		}
		c.entries(at+".loss", part.Loss)
		c.vswr(at+".vswr", part.VSWR)
	}
}

// LoadJob reads a job file; errors as in LoadProcedure.
func LoadJob(file string, text []byte) (*Job, error) {
	j := &Job{}
	d := tomlfile.Decode(file, text, j)
	c := checker{d: d}
	if !c.schema(JobSchema) {
		return j, d.Err()
	}
	d.PlainText()
	for _, x := range j.Check() {
		if c.given(x.Key) {
			c.add(x.Key, "%s", x.Text)
		}
	}
	return j, d.Err()
}
