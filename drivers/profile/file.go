package profile

import "bandproof/procedures/quantity"

// Schema is the version of the format that this package reads.
const Schema = "bandproof profile 1"

// The roles that a profile can describe.
const (
	RoleCounter = "counter"
	RoleSource  = "source"
)

// File is a profile as it stands in TOML. Tables that one role must or may
// have and the other may not are told in their descriptions.
type File struct {
	Schema      string   `toml:"schema" jsonschema_description:"Version of this format: \"bandproof profile 1\"."`
	Inherits    string   `toml:"inherits,omitempty" jsonschema_description:"A ready profile, or a file beside this one, on which this one builds: what is not stated here is as it is there, but for name, description, source and examples."`
	Without     []string `toml:"without,omitempty" jsonschema_description:"Keys of the inherited profile that this instrument has not, such as self_test or input.map."`
	Name        string   `toml:"name" jsonschema_description:"Name by which a bench file calls the profile: lower case letters, digits and hyphens."`
	Role        string   `toml:"role" jsonschema:"enum=counter,enum=source,enum=switch,enum=power-meter,enum=thermometer" jsonschema_description:"What the instrument is: counter (also for a monitor), source, switch, power-meter or thermometer (also a hygrometer)."`
	Source      string   `toml:"source" jsonschema_description:"Where the facts of this profile come from: document, edition, page."`
	Description string   `toml:"description" jsonschema_description:"What the profile is for, in a sentence or two."`

	Link     *Link     `toml:"link,omitempty" jsonschema_description:"How the instrument prefers to be spoken to; the bench file may differ."`
	Identify *Identify `toml:"identify,omitempty" jsonschema_description:"How the instrument tells who it is. Leave out where it cannot."`
	Start    *Commands `toml:"start,omitempty" jsonschema_description:"Commands sent once on open; to a source after its RF is off."`

	Input    *Input    `toml:"input,omitempty" jsonschema_description:"Counter: how an input is selected. Leave out where only a person can select it; a counter with one input has a map with that one."`
	Gate     *Gate     `toml:"gate,omitempty" jsonschema_description:"Counter: how the gate time is set. Required."`
	Read     *Read     `toml:"read,omitempty" jsonschema_description:"Counter: how one reading is taken. Required."`
	Abort    *Commands `toml:"abort,omitempty" jsonschema_description:"Counter: commands that stop a measurement that never ends."`
	SelfTest *SelfTest `toml:"self_test,omitempty" jsonschema_description:"Counter: the self-test."`

	RFOff     *Switch    `toml:"rf_off,omitempty" jsonschema_description:"Source: how the signal is switched off. Required; it is the first thing sent, before any reset."`
	RFOn      *Switch    `toml:"rf_on,omitempty" jsonschema_description:"Source: how the signal is switched on. Required."`
	Frequency *Frequency `toml:"frequency,omitempty" jsonschema_description:"Source: how the frequency is set. Required."`
	Level     *Level     `toml:"level,omitempty" jsonschema_description:"Source: how the level is set. Required."`
	Settle    *Settle    `toml:"settle,omitempty" jsonschema_description:"Source: when the signal can be trusted after a set. Required."`
	Lock      *Lock      `toml:"lock,omitempty" jsonschema_description:"Source: how it tells whether its synthesis is locked."`

	Route    *Route    `toml:"route,omitempty" jsonschema_description:"Switch: how a position is closed and all others opened. Required."`
	Position *Position `toml:"position,omitempty" jsonschema_description:"Switch: how it tells which position is closed. Required: a switch that can't tell proves no path."`

	Correction *Correction `toml:"correction,omitempty" jsonschema_description:"Power meter: how it is told the frequency for its correction factor. Leave out where it needs none."`
	Measure    *Measure    `toml:"measure,omitempty" jsonschema_description:"Power meter: how one level is measured. Required."`
	Zero       *Zero       `toml:"zero,omitempty" jsonschema_description:"Power meter: how it takes its own zero."`

	Temperature *Ambient `toml:"temperature,omitempty" jsonschema_description:"Thermometer: how the ambient temperature is asked for, in °C. Required."`
	Humidity    *Ambient `toml:"humidity,omitempty" jsonschema_description:"Thermometer that is a hygrometer too: how the relative humidity is asked for, in % unless stated."`

	Reference *Reference `toml:"reference,omitempty" jsonschema_description:"How the instrument tells which reference it uses."`
	Errors    *Errors    `toml:"errors,omitempty" jsonschema_description:"How the instrument's error queue is read."`

	Examples []Example `toml:"example,omitempty" jsonschema_description:"One conversation in the order of the file, beginning with open, that shows every action."`
}

// Link holds what the profile prefers of the link; the bench file may differ
// in each.
type Link struct {
	ReadTerminator  string             `toml:"read_terminator,omitempty" jsonschema:"enum=LF,enum=CR,enum=CRLF,enum=none" jsonschema_description:"What ends a reply on links that carry no message end of their own: LF (the default), CR, CRLF or none."`
	WriteTerminator string             `toml:"write_terminator,omitempty" jsonschema:"enum=LF,enum=CR,enum=CRLF,enum=none" jsonschema_description:"What is sent after each message: LF (the default), CR, CRLF or none."`
	Gap             *quantity.Duration `toml:"gap,omitempty" jsonschema_description:"Silence that ends a reply where read_terminator is none."`
	PlainText       bool               `toml:"plain_text,omitempty" jsonschema_description:"A # in a reply is an ordinary character and begins no block."`
	Pace            *quantity.Duration `toml:"pace,omitempty" jsonschema_description:"Pause before each message, for instruments that lose messages which come back to back."`
	Quiet           *quantity.Duration `toml:"quiet,omitempty" jsonschema_description:"How long a line must be silent before it counts as empty; 200 ms unless stated."`
	Timeout         *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long an ordinary reply may take; 5 s unless stated."`

	Baud        int    `toml:"baud,omitempty" jsonschema_description:"Serial line: bits per second as the instrument leaves the factory."`
	DataBits    int    `toml:"data_bits,omitempty" jsonschema_description:"Serial line: 5 to 8."`
	Parity      string `toml:"parity,omitempty" jsonschema:"enum=none,enum=odd,enum=even,enum=mark,enum=space" jsonschema_description:"Serial line: parity."`
	StopBits    string `toml:"stop_bits,omitempty" jsonschema:"enum=1,enum=1.5,enum=2" jsonschema_description:"Serial line: stop bits."`
	FlowControl string `toml:"flow_control,omitempty" jsonschema:"enum=none,enum=xonxoff,enum=rtscts" jsonschema_description:"Serial line: flow control."`
	DTR         string `toml:"dtr,omitempty" jsonschema:"enum=on,enum=off" jsonschema_description:"Serial line: DTR while the port is open; on unless stated."`
	RTS         string `toml:"rts,omitempty" jsonschema:"enum=on,enum=off" jsonschema_description:"Serial line: RTS while the port is open; on unless stated."`

	CharacterPace   *quantity.Duration `toml:"character_pace,omitempty" jsonschema_description:"Serial line: pause after each character, for a slow receiver."`
	LinePace        *quantity.Duration `toml:"line_pace,omitempty" jsonschema_description:"Least time from the end of one message to the next, all messages counted."`
	Echo            bool               `toml:"echo,omitempty" jsonschema_description:"The instrument sends each message back before it answers."`
	BreakClear      bool               `toml:"break_clear,omitempty" jsonschema_description:"Serial line: a break clears the instrument."`
	CommonCommands  bool               `toml:"common_commands,omitempty" jsonschema_description:"The instrument takes *TRG and *STB?, which stand in for trigger and status byte on serial lines and sockets."`
	Remote          bool               `toml:"remote,omitempty" jsonschema_description:"Put the instrument under remote control when it is opened, and back to its front panel when it is closed, on links that can."`
	ClearAtOpen     bool               `toml:"clear_at_open,omitempty" jsonschema_description:"Send a device clear when the conversation begins; to a source after its RF is off."`
	ClearWait       *quantity.Duration `toml:"clear_wait,omitempty" jsonschema_description:"Pause after each device clear, for instruments that start anew by it."`
	NoEOI           bool               `toml:"no_eoi,omitempty" jsonschema_description:"GPIB: the instrument does not assert EOI with the end of a reply; the read terminator ends it."`
	EndByTerminator bool               `toml:"end_by_terminator,omitempty" jsonschema_description:"VXI-11: the instrument marks no end, so a reply ends with the read terminator."`
	NoDeviceClear   bool               `toml:"no_device_clear,omitempty" jsonschema_description:"A device clear would upset the instrument: connect anew instead."`
}

// Identify asks the instrument who it is.
type Identify struct {
	Query   string             `toml:"query" jsonschema_description:"The question, such as *IDN?."`
	Timeout *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long the reply may take."`
}

// Commands is an action without an answer.
type Commands struct {
	Commands []string           `toml:"commands" jsonschema_description:"Messages, one an entry, sent in order."`
	Wait     *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command."`
}

// Input selects an input of a counter.
type Input struct {
	Commands []string           `toml:"commands,omitempty" jsonschema_description:"Messages with {input}. May be left out only where map has one entry (a counter with one input), or with by_hand."`
	ByHand   bool               `toml:"by_hand,omitempty" jsonschema_description:"A person selects the input at the front panel, when the cable is moved; map names the inputs."`
	Map      map[string]string  `toml:"map,omitempty" jsonschema_description:"From the procedure's input name or channel to what {input} stands for. Without it the name is used as it is."`
	Query    string             `toml:"query,omitempty" jsonschema_description:"Question for the input in force, so that a selection which was garbled on its way is noticed."`
	Expect   []string           `toml:"expect,omitempty" jsonschema_description:"Answers that stand for the input asked for, with {input}; required with query."`
	Wait     *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command."`
}

// Gate sets the gate time of a counter.
type Gate struct {
	Commands []string            `toml:"commands,omitempty" jsonschema_description:"Messages with {seconds}, {milliseconds} or {code}, also {input}. May be left out only where allowed has one entry (a fixed gate), or with by_hand."`
	ByHand   bool                `toml:"by_hand,omitempty" jsonschema_description:"A person sets the gate time at the front panel; allowed lists those that there are."`
	Query    string              `toml:"query,omitempty" jsonschema_description:"Question for the gate time in force."`
	Reply    *Reply              `toml:"reply,omitempty" jsonschema_description:"How the answer is read; seconds unless stated. With codes the answer is a code."`
	Allowed  []quantity.Duration `toml:"allowed,omitempty" jsonschema_description:"The only gate times there are, if not any."`
	Codes    map[string]string   `toml:"codes,omitempty" jsonschema_description:"From gate time (\"100 ms\") to what {code} stands for; then these are the only gate times."`
	// Resolutions is codes for instruments that have no gate key.
	Resolutions map[string]string  `toml:"resolutions,omitempty" jsonschema_description:"Instead of codes, where the instrument is told a resolution and no gate time: from resolution (\"1 Hz\") to what {code} stands for. The gate time is 1/resolution, as a direct count has it."`
	Wait        *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command."`
}

// Ready tells by the status byte that a reading is complete.
type Ready struct {
	Mask   int                `toml:"mask" jsonschema_description:"Bits of the status byte that tell, as their sum: 1 for the lowest, 64 for the seventh."`
	Expect *int               `toml:"expect,omitempty" jsonschema_description:"What the masked bits are once the reading is complete; all set unless stated."`
	Every  *quantity.Duration `toml:"every,omitempty" jsonschema_description:"Pause between two polls; 20 ms unless stated."`
}

// Read takes one reading.
type Read struct {
	Commands []string           `toml:"commands,omitempty" jsonschema_description:"Messages that arm the measurement, if the query alone does not."`
	Trigger  bool               `toml:"trigger,omitempty" jsonschema_description:"The link's trigger (group execute trigger) starts the measurement, after the commands."`
	Query    string             `toml:"query,omitempty" jsonschema_description:"Message that makes the instrument send the reading once it is complete. Without it the reading is only waited for: after commands or trigger, or as the instrument is addressed to talk."`
	Ready    *Ready             `toml:"ready,omitempty" jsonschema_description:"The status byte (serial poll) tells that the reading is complete. It is polled after commands and trigger, or where there are none after the query. On a link without a status byte the reading is waited for."`
	Talks    bool               `toml:"talks,omitempty" jsonschema_description:"The instrument sends readings all the time and takes no question. A reading is a message that began after it was asked for; older ones are thrown away."`
	Again    string             `toml:"again,omitempty" jsonschema_description:"Question that returns the same reading once more, such as FETC?. It is asked after each reading and the two are compared, so that a character which was lost, doubled or changed on the way is noticed."`
	Reply    *Reply             `toml:"reply,omitempty" jsonschema_description:"How the answer is read; hertz unless stated."`
	Margin   quantity.Duration  `toml:"margin" jsonschema_description:"How long past the gate the reply may take before the measurement counts as never ending."`
	Safety   *quantity.Ratio    `toml:"safety,omitempty" jsonschema_description:"Share of the gate by which it may run longer than set; 10 % unless stated."`
	Overhead *quantity.Duration `toml:"overhead,omitempty" jsonschema_description:"What a reading takes beyond its gate, for planning."`
	Discard  *int               `toml:"discard,omitempty" jsonschema_description:"Readings to throw away after the signal was changed; 1 unless stated."`

	ZeroIsNoCount        bool `toml:"zero_is_no_count,omitempty" jsonschema_description:"A reply of zero stands for nothing counted."`
	DisplayAndReplyAgree bool `toml:"display_and_reply_agree,omitempty" jsonschema_description:"The reply resolves what the display resolves, so that a coarser reply is the unit's fault."`
	GateLengthened       bool `toml:"gate_lengthened,omitempty" jsonschema_description:"The counter lengthens its gate by its prescaler, so that one count stays 1/gate."`
}

// Reply tells how a number is found in an answer.
type Reply struct {
	Form       string            `toml:"form,omitempty" jsonschema:"enum=scpi,enum=plain,enum=bcd,enum=binary" jsonschema_description:"Form of the number: scpi (the default), a decimal number as SCPI-1999 sends it; plain, digits with blanks before and between them, a sign, a point and an exponent; bcd, two digits a byte; binary, a whole number of bytes, the highest first."`
	Comma      bool              `toml:"comma,omitempty" jsonschema_description:"The decimal mark of the number is a comma; form plain only."`
	Power      int               `toml:"power,omitempty" jsonschema_description:"Power of ten that the number is counted in: -1 where its last digit is tenths. For forms bcd, binary and plain."`
	LowFirst   bool              `toml:"low_first,omitempty" jsonschema_description:"Forms bcd and binary: the lowest byte comes first."`
	Unit       string            `toml:"unit,omitempty" jsonschema_description:"Unit that the number counts, such as MHz or ms."`
	Length     int               `toml:"length,omitempty" jsonschema_description:"Characters of every reply that is a number, its terminator not counted. Where an instrument sends a fixed form, this refuses a reply that was cut or joined."`
	Shape      []string          `toml:"shape,omitempty" jsonschema_description:"The forms that a reply has, one sign a place: # a digit, _ a digit or blank, * a digit, blank, point or comma, ~ a sign or blank, @ a letter or blank, ? any sign; everything else stands for itself. A reply that fits none is refused."`
	Units      map[string]string `toml:"units,omitempty" jsonschema_description:"Where the unit in the reply changes with the range: from the text after the number to the unit that it stands for. One must be there."`
	Flags      map[string]string `toml:"flags,omitempty" jsonschema_description:"What the letters say with which a reading begins: from letter (a blank counts) to good, over_range, no_signal or refuse. A letter that is not named is unreadable."`
	FlagPlaces int               `toml:"flag_places,omitempty" jsonschema_description:"How many such letters there are, each looked up in flags; 1 unless stated."`
	Prefix     []string          `toml:"prefix,omitempty" jsonschema_description:"Texts before the number; the longest that is there is removed. If given, one must be there."`
	Suffix     []string          `toml:"suffix,omitempty" jsonschema_description:"Texts after the number; the longest that is there is removed. If given, one must be there."`
	NoSignal   []string          `toml:"no_signal,omitempty" jsonschema_description:"Whole answers that stand for nothing counted, beside 9.91E37."`
	OverRange  []string          `toml:"over_range,omitempty" jsonschema_description:"Whole answers that stand for too much, beside 9.9E37."`
}

// SelfTest runs the instrument's self-test.
type SelfTest struct {
	Query   string             `toml:"query" jsonschema_description:"The question, such as *TST?."`
	Pass    []string           `toml:"pass" jsonschema_description:"Answers that stand for passed."`
	Timeout *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long the test may take; 30 s unless stated."`
}

// Switch switches the RF of a source.
type Switch struct {
	Commands []string           `toml:"commands" jsonschema_description:"Messages, sent in order. For rf_off also lowest level plus detune."`
	Query    string             `toml:"query,omitempty" jsonschema_description:"Question for the state in force."`
	Expect   []string           `toml:"expect,omitempty" jsonschema_description:"Answers that stand for done; required with query."`
	Wait     *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command."`
}

// Frequency sets the frequency of a source.
type Frequency struct {
	Commands   []string           `toml:"commands" jsonschema_description:"Messages with {hertz}, {kilohertz} or {megahertz}: plain decimals."`
	Query      string             `toml:"query,omitempty" jsonschema_description:"Question for the frequency in force."`
	Reply      *Reply             `toml:"reply,omitempty" jsonschema_description:"How the answer is read; hertz unless stated."`
	Resolution quantity.Frequency `toml:"resolution" jsonschema_description:"Smallest step that the source can set."`
	Wait       *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command, before settling."`
}

// Level sets the level of a source.
type Level struct {
	Commands   []string           `toml:"commands" jsonschema_description:"Messages with {dbm}."`
	Query      string             `toml:"query,omitempty" jsonschema_description:"Question for the level in force, answered in dBm."`
	Reply      *Reply             `toml:"reply,omitempty" jsonschema_description:"How the answer is read; a number of dBm."`
	Resolution quantity.Gain      `toml:"resolution" jsonschema_description:"Smallest step that the source can set."`
	Wait       *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command, before settling."`
}

// Settle tells when the signal of a source can be trusted.
type Settle struct {
	Time   quantity.Duration  `toml:"time" jsonschema_description:"How long after a set the signal must not be trusted."`
	Query  string             `toml:"query,omitempty" jsonschema_description:"Question that is answered once the source has settled, such as *OPC?."`
	Expect []string           `toml:"expect,omitempty" jsonschema_description:"Answers to the query that stand for settled; required with query."`
	Margin *quantity.Duration `toml:"margin,omitempty" jsonschema_description:"The answer may take ten times the settling time and this; 3 s unless stated."`
}

// Lock asks a source whether its synthesis is locked.
type Lock struct {
	Query  string            `toml:"query,omitempty" jsonschema_description:"The question."`
	Poll   bool              `toml:"poll,omitempty" jsonschema_description:"Instead of a query: the status byte (serial poll) tells."`
	Form   string            `toml:"form,omitempty" jsonschema:"enum=decimal,enum=hex,enum=byte" jsonschema_description:"How the answer says its bits: decimal (the default) or hex digits, or the one byte itself."`
	Mask   *int              `toml:"mask,omitempty" jsonschema_description:"Bits of the answer that tell; use mask or map."`
	Expect int               `toml:"expect,omitempty" jsonschema_description:"What the masked bits are while it is locked; 0 unless stated."`
	Map    map[string]string `toml:"map,omitempty" jsonschema_description:"From answer to locked or unlocked; use mask or map."`
}

// Reference asks an instrument which reference it uses.
type Reference struct {
	Query string            `toml:"query" jsonschema_description:"The question."`
	Map   map[string]string `toml:"map" jsonschema_description:"From answer to own or external."`
}

// Errors reads the instrument's error queue.
type Errors struct {
	Query string `toml:"query" jsonschema_description:"Question that takes one entry from the queue."`
	None  int    `toml:"none,omitempty" jsonschema_description:"Code of the entry that stands for an empty queue; 0 unless stated."`
	Bound *int   `toml:"bound,omitempty" jsonschema_description:"Most entries read at a time; 50 unless stated."`
}

// Example is one action with what goes over the wire.
type Example struct {
	Do       string     `toml:"do" jsonschema_description:"The action: open, identify, input, gate, read, rf_off, rf_on, frequency, level, lock, route, position, correction, measure, zero, temperature, humidity, reference, errors, self_test, close."`
	With     string     `toml:"with,omitempty" jsonschema_description:"What the action is asked for: an input, a gate time, a frequency, a level, a position."`
	Gives    string     `toml:"gives,omitempty" jsonschema_description:"What the action returns, as the program prints it."`
	Exchange []Exchange `toml:"exchange" jsonschema_description:"Messages in order, each with its reply if it is a question."`
}

// Exchange is one message of an example and its reply, if any, or one other
// thing that goes over the link.
type Exchange struct {
	Send     string `toml:"send,omitempty" jsonschema_description:"The message, without terminator."`
	Reply    string `toml:"reply,omitempty" jsonschema_description:"The answer, without terminator."`
	ReplyHex string `toml:"reply_hex,omitempty" jsonschema_description:"The answer as hexadecimal bytes, where it is no text."`
	Hear     string `toml:"hear,omitempty" jsonschema_description:"Instead of send: a message that comes unasked, without terminator."`
	HearHex  string `toml:"hear_hex,omitempty" jsonschema_description:"Such a message as hexadecimal bytes."`
	Poll     *int   `toml:"poll,omitempty" jsonschema_description:"Instead of send: the status byte is read (serial poll), and is this."`
	Trigger  bool   `toml:"trigger,omitempty" jsonschema_description:"Instead of send: the link's trigger is given."`
}
