package find

import (
	"cmp"
	"slices"
	"strings"

	"bandproof/drivers/link"
)

// Found is one thing that may be an instrument.
type Found struct {
	Address string   `json:"address"`            // VISA resource name
	Via     string   `json:"via,omitempty"`      // of the adapter that it is behind
	Baud    int      `json:"baud,omitempty"`     // at which it answered, on a serial port
	Also    []string `json:"also,omitempty"`     // other addresses of the same instrument
	How     []string `json:"how"`                // by what it was found
	Answer  string   `json:"identity,omitempty"` // to *IDN?, as it came
	Maker   string   `json:"maker,omitempty"`    // of the answer, or as announced
	Model   string   `json:"model,omitempty"`    //
	Serial  string   `json:"serial,omitempty"`   //
	Version string   `json:"firmware,omitempty"` //
	USB     *USB     `json:"usb,omitempty"`      // the adapter of a serial port, or the instrument
	Role    string   `json:"role,omitempty"`     // proposed: a profile's role
	Profile string   `json:"profile,omitempty"`  // proposed: a ready profile
	Note    string   `json:"note,omitempty"`     // why it was not asked, or did not answer
}

// USB are the ids of a USB device.
type USB struct {
	Vendor       string `json:"vendor"`  // four hexadecimal digits
	Product      string `json:"product"` // likewise
	SerialNumber string `json:"serial,omitempty"`
	Name         string `json:"name,omitempty"`
}

// identify fills in what an answer to *IDN? says: maker, model, serial number
// and firmware, parted by commas (IEEE 488.2, 10.14, from memory).
func (f *Found) identify(answer string) {
	f.Answer = strings.ToValidUTF8(strings.TrimSpace(answer), "\ufffd")
	field := strings.SplitN(f.Answer, ",", 4)
	if len(field) != 4 { // no identity by the standard: all of it tells what it is
		f.Model = f.Answer
		return
	}
	f.Maker, f.Model, f.Serial, f.Version = strings.TrimSpace(field[0]), strings.TrimSpace(field[1]), strings.TrimSpace(field[2]), strings.TrimSpace(field[3])
	for _, s := range []*string{&f.Serial, &f.Version} {
		if *s == "0" { // stands for not known
			*s = ""
		}
	}
}

// proposals are the generic profiles, by words that a model's name may hold.
// Only a hint for a person: a model is a number as often as a word.
var proposals = []struct {
	role, profile string
	words         []string
}{
	{"power meter", "scpi-power-meter", []string{"power meter", "power sensor"}},
	{"thermometer", "scpi-thermometer", []string{"thermo", "hygro", "climate", "temperature"}},
	{"switch", "scpi-switch", []string{"switch", "relay", "multiplexer"}},
	{"counter", "scpi-counter", []string{"counter", "frequency meter"}},
	{"source", "scpi-source", []string{"source", "generator", "synth", "oscillator"}},
}

// propose names role and profile where the identity tells by itself.
func (f *Found) propose() {
	text := strings.ToLower(f.Model + " " + f.Maker)
	for _, p := range proposals {
		if slices.ContainsFunc(p.words, func(w string) bool { return strings.Contains(text, w) }) {
			f.Role, f.Profile = p.role, p.profile
			return
		}
	}
}

// preference orders the links of one instrument: those that carry messages
// whole, then by how much else they can do.
var preference = []link.Kind{link.HiSLIP, link.VXI11, link.USB, link.GPIB, link.Socket, link.Serial}

func rank(address string) int {
	r, err := link.ParseResource(address)
	if k := slices.Index(preference, r.Kind); err == nil && k >= 0 {
		return k
	}
	return len(preference)
}

// merge makes one of all that is the same address, or the same instrument by
// its identity with serial number; the best address stands first.
func merge(list []Found) []Found {
	var out []Found
	for _, f := range list {
		k := slices.IndexFunc(out, func(o Found) bool {
			return o.Address == f.Address && o.Via == f.Via || f.Answer != "" && o.Answer == f.Answer && f.Serial != ""
		})
		if k < 0 {
			out = append(out, f)
			continue
		}
		out[k] = join(out[k], f)
	}
	slices.SortStableFunc(out, func(a, b Found) int {
		return cmp.Or(cmp.Compare(rank(a.Address), rank(b.Address)), natural(a.Address, b.Address))
	})
	return out
}

// natural orders GPIB0::2 before GPIB0::10.
func natural(a, b string) int {
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}

func join(a, b Found) Found {
	better := b.Answer != "" && a.Answer == "" || (b.Answer != "") == (a.Answer != "") && rank(b.Address) < rank(a.Address)
	if better {
		a, b = b, a
	}
	for _, h := range b.How {
		if !slices.Contains(a.How, h) {
			a.How = append(a.How, h)
		}
	}
	for _, other := range append([]string{b.Address}, b.Also...) {
		if other != a.Address && !slices.Contains(a.Also, other) {
			a.Also = append(a.Also, other)
		}
	}
	if a.Model == "" {
		a.Maker, a.Model, a.Serial, a.Version = b.Maker, b.Model, b.Serial, b.Version
	}
	if a.USB == nil {
		a.USB = b.USB
	}
	if a.Answer != "" {
		a.Note = ""
	}
	return a
}
