package procedures

import (
	"bandproof/procedures/quantity"
)

// BenchSchema names the version of the bench file.
const BenchSchema = "bandproof bench 1"

// Bench is one bench: its standards, instruments and paths.
type Bench struct {
	Schema       string        `toml:"schema" json:"schema" jsonschema:"const=bandproof bench 1" jsonschema_description:"Version of the file format."`
	Name         string        `toml:"name" json:"name" jsonschema_description:"Name of the bench."`
	Laboratory   Laboratory    `toml:"laboratory" json:"laboratory" jsonschema_description:"Who does the work and where."`
	References   []Reference   `toml:"reference,omitempty" json:"reference,omitempty" jsonschema_description:"Frequency standards."`
	Sources      []Source      `toml:"source" json:"source" jsonschema_description:"Instruments that make the signal."`
	Counter      Counter       `toml:"counter" json:"counter" jsonschema_description:"How the unit is reached."`
	Paths        []Path        `toml:"path" json:"path" jsonschema_description:"What lies between a source and an input."`
	Switches     []Switch      `toml:"switch,omitempty" json:"switch,omitempty" jsonschema_description:"Switches that route a source to an input without a person."`
	PowerMeters  []PowerMeter  `toml:"power_meter,omitempty" json:"power_meter,omitempty" jsonschema_description:"Power meters that measure the level at inputs."`
	Thermometers []Thermometer `toml:"thermometer,omitempty" json:"thermometer,omitempty" jsonschema_description:"Thermometers and hygrometers for the ambient conditions."`
	Monitor      *Monitor      `toml:"monitor,omitempty" json:"monitor,omitempty" jsonschema_description:"A second counter on a splitter at a source, which checks what the source makes."`
	Notify       []Notify      `toml:"notify,omitempty" json:"notify,omitempty" jsonschema_description:"Who is told what happens: bell, webhook, mail."`
	Sheet        *Sheet        `toml:"sheet,omitempty" json:"sheet,omitempty" jsonschema_description:"How data sheets are written: language, number style, paper."`
	// MoveTime is what a person needs to move a cable.
	MoveTime *quantity.Duration `toml:"move_time,omitempty" json:"move_time,omitempty" jsonschema_description:"Time to move a cable, for the plan; 2 min unless stated."`
	// Patience is how long a run waits for an instrument whose link is dead.
	Patience *quantity.Duration `toml:"link_patience,omitempty" json:"link_patience,omitempty" jsonschema_description:"How long a run waits for an instrument whose link is dead (a cable to be put back) before it ends; 5 min unless stated, 0 s: not at all."`
}

// Laboratory heads the data sheet.
type Laboratory struct {
	Name    string   `toml:"name" json:"name" jsonschema_description:"Name of the laboratory or workshop."`
	Address []string `toml:"address,omitempty" json:"address,omitempty" jsonschema_description:"Lines of the address."`
	Contact string   `toml:"contact,omitempty" json:"contact,omitempty" jsonschema_description:"Telephone or mail."`
	Place   string   `toml:"place,omitempty" json:"place,omitempty" jsonschema_description:"Where the work is done, if not at the address."`
	Country string   `toml:"country,omitempty" json:"country,omitempty" jsonschema:"pattern=^[A-Z][A-Z]$" jsonschema_description:"Country of the laboratory, ISO 3166-1 alpha-2, such as DE."`
	Logo    string   `toml:"logo,omitempty" json:"logo,omitempty" jsonschema_description:"PNG or JPEG file for the head of the data sheet, relative to the bench file."`
}

// Standard is the evidence that an instrument or reference may be relied on.
type Standard struct {
	Maker       string `toml:"maker,omitempty" json:"maker,omitempty" jsonschema_description:"Maker."`
	Model       string `toml:"model,omitempty" json:"model,omitempty" jsonschema_description:"Model."`
	Serial      string `toml:"serial,omitempty" json:"serial,omitempty" jsonschema_description:"Serial number."`
	Certificate string `toml:"certificate,omitempty" json:"certificate,omitempty" jsonschema_description:"Number of the calibration certificate."`
	Calibrated  Date   `toml:"calibrated,omitempty" json:"calibrated" jsonschema_description:"Date of calibration, as 2026-05-31."`
	Due         Date   `toml:"due,omitempty" json:"due" jsonschema_description:"Date until which the calibration is relied on."`
}

// Reference is one frequency standard.
type Reference struct {
	Name string `toml:"name" json:"name" jsonschema_description:"Name by which sources and the counter refer to it."`
	Standard
	Frequency   quantity.Frequency `toml:"frequency,omitempty" json:"frequency" jsonschema_description:"Output frequency, such as 10 MHz."`
	Offset      quantity.Ratio     `toml:"offset,omitempty" json:"offset" jsonschema_description:"Known fractional offset (actual − nominal)/nominal from its certificate."`
	Uncertainty quantity.Ratio     `toml:"uncertainty" json:"uncertainty" jsonschema_description:"Expanded uncertainty (k = 2) of the offset, from its certificate."`
	Drift       quantity.Ratio     `toml:"drift_per_day,omitempty" json:"drift_per_day" jsonschema_description:"Largest fractional drift per day since calibration."`
	// Ancestor names the reference that this one is steered by, so that the
	// offsets of both are correlated.
	Ancestor string `toml:"steered_by,omitempty" json:"steered_by,omitempty" jsonschema_description:"Reference that this one follows, if any."`
}

// Connection says how an instrument is reached.
type Connection struct {
	Address         string            `toml:"address,omitempty" json:"address" jsonschema_description:"VISA resource name, such as TCPIP0::192.0.2.7::5025::SOCKET or ASRL/dev/ttyUSB0::INSTR. None with profile manual."`
	Profile         string            `toml:"profile" json:"profile" jsonschema_description:"Name of an embedded profile, a file path relative to the bench file, or manual for a source that a person sets or a counter that a person reads."`
	Panel           *Panel            `toml:"panel,omitempty" json:"panel,omitempty" jsonschema_description:"What is on the front of an instrument that a person sets or reads (profile manual)."`
	Via             string            `toml:"via,omitempty" json:"via,omitempty" jsonschema_description:"GPIB: address of the adapter that takes the ++ controller commands, such as ASRL/dev/ttyUSB0::INSTR or TCPIP0::192.0.2.9::1234::SOCKET; a board of this machine unless stated."`
	NoEOI           bool              `toml:"no_eoi,omitempty" json:"no_eoi,omitempty" jsonschema_description:"GPIB: the instrument does not assert EOI with the end of a reply; the read terminator ends it."`
	Timeout         quantity.Duration `toml:"timeout,omitempty" json:"timeout" jsonschema_description:"Longest wait for a reply beyond gates and settling; 5 s unless stated. Of a person: for an answer; without end unless stated."`
	ReadTerminator  string            `toml:"read_terminator,omitempty" json:"read_terminator,omitempty" jsonschema:"enum=LF,enum=CR,enum=CRLF,enum=none" jsonschema_description:"What ends a reply; LF unless stated."`
	WriteTerminator string            `toml:"write_terminator,omitempty" json:"write_terminator,omitempty" jsonschema:"enum=LF,enum=CR,enum=CRLF,enum=none" jsonschema_description:"What ends a command; LF unless stated."`
	Baud            int               `toml:"baud,omitempty" json:"baud,omitempty" jsonschema:"minimum=50" jsonschema_description:"Serial: bits per second; 9600 unless stated."`
	DataBits        int               `toml:"data_bits,omitempty" json:"data_bits,omitempty" jsonschema:"enum=7,enum=8" jsonschema_description:"Serial: data bits; 8 unless stated."`
	Parity          string            `toml:"parity,omitempty" json:"parity,omitempty" jsonschema:"enum=none,enum=odd,enum=even,enum=mark,enum=space" jsonschema_description:"Serial: parity; none unless stated."`
	StopBits        string            `toml:"stop_bits,omitempty" json:"stop_bits,omitempty" jsonschema:"enum=1,enum=1.5,enum=2" jsonschema_description:"Serial: stop bits, as text; 1 unless stated."`
	Flow            string            `toml:"flow_control,omitempty" json:"flow_control,omitempty" jsonschema:"enum=none,enum=xonxoff,enum=rtscts" jsonschema_description:"Serial: flow control; none unless stated."`
	DTR             string            `toml:"dtr,omitempty" json:"dtr,omitempty" jsonschema:"enum=on,enum=off" jsonschema_description:"Serial: the DTR line while the port is open; on unless stated."`
	RTS             string            `toml:"rts,omitempty" json:"rts,omitempty" jsonschema:"enum=on,enum=off" jsonschema_description:"Serial: the RTS line while the port is open; on unless stated."`
	CharacterPace   quantity.Duration `toml:"character_pace,omitempty" json:"character_pace" jsonschema_description:"Serial: pause after each character, for a slow receiver."`
	LinePace        quantity.Duration `toml:"line_pace,omitempty" json:"line_pace" jsonschema_description:"Least time from the end of one message to the next."`
	Echo            bool              `toml:"echo,omitempty" json:"echo,omitempty" jsonschema_description:"The instrument sends each message back before it answers."`
	BreakClear      bool              `toml:"break_clear,omitempty" json:"break_clear,omitempty" jsonschema_description:"Serial: a break clears the instrument."`
	CommonCommands  bool              `toml:"common_commands,omitempty" json:"common_commands,omitempty" jsonschema_description:"The instrument takes *TRG and *STB?, which stand in for trigger and status byte on serial lines and sockets."`
	Overlap         bool              `toml:"overlap,omitempty" json:"overlap,omitempty" jsonschema_description:"HiSLIP: overlap mode, in which questions and answers may queue up; synchronised mode unless stated."`
	EndByTerminator bool              `toml:"end_by_terminator,omitempty" json:"end_by_terminator,omitempty" jsonschema_description:"VXI-11: the instrument marks no end, so a reply ends with the read terminator."`
	Lock            bool              `toml:"lock,omitempty" json:"lock,omitempty" jsonschema_description:"VXI-11: keep other programs out while the program uses the instrument."`
	LockTimeout     quantity.Duration `toml:"lock_timeout,omitempty" json:"lock_timeout,omitzero" jsonschema_description:"VXI-11: how long to wait where another program has locked the instrument; not at all unless stated."`
	NoDeviceClear   bool              `toml:"no_device_clear,omitempty" json:"no_device_clear,omitempty" jsonschema_description:"A device clear would upset the instrument: connect anew instead."`
}

// Source is one instrument that makes the signal.
type Source struct {
	Name string `toml:"name" json:"name" jsonschema_description:"Name of the source."`
	Standard
	Connection
	Range [2]quantity.Frequency `toml:"range" json:"range" jsonschema_description:"Lowest and highest frequency."`
	Level [2]quantity.Level     `toml:"level" json:"level" jsonschema_description:"Lowest and highest level, in dBm into 50 Ω."`
	// LevelUncertainty and Transient both raise what the interlock assumes.
	LevelUncertainty quantity.Gain      `toml:"level_uncertainty" json:"level_uncertainty" jsonschema_description:"Largest error of the set level, as its specification states it."`
	Transient        quantity.Gain      `toml:"level_transient,omitempty" json:"level_transient" jsonschema_description:"Largest overshoot of the level while it switches."`
	LevelResolution  *quantity.Gain     `toml:"level_resolution,omitempty" json:"level_resolution,omitempty" jsonschema_description:"Step of the level setting; 0.1 dB unless stated."`
	VSWR             VSWR               `toml:"vswr,omitempty" json:"vswr,omitempty" jsonschema_description:"VSWR of the output, by sub-range: highest frequency of each and VSWR up to it."`
	Resolution       quantity.Frequency `toml:"resolution,omitempty" json:"resolution" jsonschema_description:"Step of the frequency setting."`
	Harmonics        *quantity.Gain     `toml:"harmonics,omitempty" json:"harmonics,omitempty" jsonschema_description:"Highest harmonic relative to the carrier, such as -30 dBc."`
	Subharmonics     *quantity.Gain     `toml:"subharmonics,omitempty" json:"subharmonics,omitempty" jsonschema_description:"Highest subharmonic relative to the carrier, such as -60 dBc."`
	// Reference: "own", "unit" (driven by the unit's timebase output) or a name.
	Reference   string          `toml:"reference" json:"reference" jsonschema_description:"What the source runs from: own, unit (the unit's timebase output), or the name of a reference."`
	OwnTimebase *quantity.Ratio `toml:"own_timebase,omitempty" json:"own_timebase,omitempty" jsonschema_description:"Accuracy of the source's own timebase; needed where reference is own."`
	// OwnOffset is the known fractional offset of the source's own timebase.
	OwnOffset quantity.Ratio `toml:"own_offset,omitempty" json:"own_offset" jsonschema_description:"Known fractional offset of the source's own timebase."`
}

// LevelStep is the step of the level setting in dB; 0.1 dB unless stated.
func (s Source) LevelStep() float64 {
	if s.LevelResolution == nil || s.LevelResolution.Sign() <= 0 {
		return 0.1
	}
	return s.LevelResolution.Float()
}

// Counter says how the unit is reached and what it runs from.
type Counter struct {
	Connection
	Reference string `toml:"reference" json:"reference" jsonschema_description:"What the unit runs from: own, the name of a reference, or the name of a source whose reference output it uses."`
}

// Path is one way from a source to an input.
type Path struct {
	Name   string `toml:"name" json:"name" jsonschema_description:"Name of the path."`
	Source string `toml:"source" json:"source" jsonschema_description:"Source at its beginning."`
	Input  string `toml:"input" json:"input" jsonschema_description:"Input of the unit at its end."`
	Parts  []Part `toml:"part,omitempty" json:"part,omitempty" jsonschema_description:"What the path is made of, from the source on."`
	// Termination: a 50 Ω feed-through at a high-impedance input.
	Termination bool `toml:"feed_through_termination,omitempty" json:"feed_through_termination,omitempty" jsonschema_description:"A 50 Ω feed-through termination sits at the high-impedance input."`
	// The match of the whole path at its two ends takes the place of its parts'.
	SourceEnd VSWR `toml:"source_end_vswr,omitempty" json:"source_end_vswr,omitempty" jsonschema_description:"VSWR of the whole path as seen from its source; takes the place of that of its parts."`
	InputEnd  VSWR `toml:"input_end_vswr,omitempty" json:"input_end_vswr,omitempty" jsonschema_description:"VSWR of the whole path as seen from its input; takes the place of that of its parts."`
	// Switch and Position route the path, so that nobody has to move a cable.
	Switch   string `toml:"switch,omitempty" json:"switch,omitempty" jsonschema_description:"Switch that the path runs over; then no cable has to be moved."`
	Position string `toml:"position,omitempty" json:"position,omitempty" jsonschema_description:"Position of the switch, by the name that its profile knows."`
	Meter    *Tap   `toml:"power_meter,omitempty" json:"power_meter,omitempty" jsonschema_description:"Power meter at the input, through a splitter or coupler."`
	// Fixed: nobody has to move a cable for this path.
	Fixed bool `toml:"fixed,omitempty" json:"fixed,omitempty" jsonschema_description:"The path is always connected; no cable has to be moved."`
}

// Part is one cable, pad, splitter, switch or feed-through of a path.
type Part struct {
	Name        string        `toml:"name" json:"name" jsonschema_description:"What it is."`
	Coax        bool          `toml:"coax,omitempty" json:"coax,omitempty" jsonschema_description:"A coaxial cable: its loss is interpolated against the root of the frequency."`
	Fixed       bool          `toml:"fixed,omitempty" json:"fixed,omitempty" jsonschema_description:"Permanently fitted: the interlock may count on its loss."`
	Loss        []LossEntry   `toml:"loss" json:"loss" jsonschema_description:"Loss table: frequency and loss, rising in frequency; and the uncertainty (k = 2) of the entry where it has its own."`
	Uncertainty quantity.Gain `toml:"uncertainty,omitempty" json:"uncertainty" jsonschema_description:"Uncertainty (k = 2) of the loss, where an entry states none."`
	VSWR        VSWR          `toml:"vswr,omitempty" json:"vswr,omitempty" jsonschema_description:"VSWR of the part at either end, by sub-range: highest frequency of each and VSWR up to it."`
	Measured    Date          `toml:"measured,omitempty" json:"measured" jsonschema_description:"Date of the loss measurement."`
}

// LossEntry is one row of a loss table.
type LossEntry struct {
	At   quantity.Frequency `toml:"at" json:"at"`
	Loss quantity.Gain      `toml:"loss" json:"loss"`
	// Uncertainty (k = 2) of this entry; nil where that of the table holds.
	Uncertainty *quantity.Gain `toml:"uncertainty,omitempty" json:"uncertainty,omitempty"`
}

// TOMLList lets an entry be written as ["100 MHz", "0.4 dB"], with its
// uncertainty as ["100 MHz", "0.4 dB", "0.05 dB"].
func (*LossEntry) TOMLList() {}

// Source returns the source of that name.
func (b *Bench) Source(name string) (Source, bool) {
	for _, s := range b.Sources {
		if s.Name == name {
			return s, true
		}
	}
	return Source{}, false
}

// Reference returns the reference of that name.
func (b *Bench) Reference(name string) (Reference, bool) {
	for _, r := range b.References {
		if r.Name == name {
			return r, true
		}
	}
	return Reference{}, false
}
