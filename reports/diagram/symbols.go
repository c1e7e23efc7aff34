package diagram

// symbolSize is the side of the square that a symbol has.
const symbolSize = 6.0

// symbol draws what stands for a kind of stage, its upper left corner at x, y.
func (c *canvas) symbol(kind string, x, y float64) {
	if text, ok := symbolTexts[kind]; ok {
		c.text(x+symbolSize/2, y+4.1, 2.9, middle, true, text)
		return
	}
	if data, ok := symbolPaths[kind]; ok {
		c.path(x, y, data, "none")
	}
}

// Qualifying letters as on logic symbols (IEC 60617-12, from memory).
var symbolTexts = map[string]string{
	"gate": "&", "counting chain": "CTR", "output register": "RG", "multiplier": "×n", "divider": "÷n", "supply": "DC",
}

// Shapes in a square of 6 by 6: usual ones of block diagrams. A kind without one
// has its name only.
var symbolPaths = map[string]string{
	// a triangle that points the way of the signal
	"amplifier": "M0.6,0.2L5.8,3L0.6,5.8Z",
	// the same, and a limit
	"limiting amplifier": "M0.6,0.2L5.8,3L0.6,5.8ZM1,4H1.9L2.7,2H3.6",
	"buffer":             "M0.6,0.8L4.6,3L0.6,5.2ZM5.6,3H4.6M0,3H0.6",
	// a circle with a cross
	"mixer": "M3,0.2A2.8,2.8 0 1 1 3,5.8A2.8,2.8 0 1 1 3,0.2ZM1.02,1.02L4.98,4.98M4.98,1.02L1.02,4.98",
	// a circle with a sine
	"oscillator": "M3,0.2A2.8,2.8 0 1 1 3,5.8A2.8,2.8 0 1 1 3,0.2ZM1.2,3C1.8,1.2 2.4,1.2 3,3C3.6,4.8 4.2,4.8 4.8,3",
	// a crystal between its plates
	"timebase": "M0,3H1.2M4.8,3H6M1.2,1.2V4.8M4.8,1.2V4.8M2.1,0.8H3.9V5.2H2.1Z",
	// the outer and inner conductor of a coaxial one
	"connector": "M3,0.4A2.6,2.6 0 1 1 3,5.6A2.6,2.6 0 1 1 3,0.4ZM3,2.2A0.8,0.8 0 1 1 3,3.8A0.8,0.8 0 1 1 3,2.2Z",
	// output over input: no more than so much
	"limiter": "M0,3H6M3,0V6M0.2,5H1.6L4.4,1H5.8",
	// a resistor between the line and ground
	"attenuator": "M0,1.6H0.8M5.2,1.6H6M0.8,0.7H5.2V2.5H0.8ZM3,2.5V4.6M1.6,4.6H4.4M2.3,5.3H3.7",
	// three waves, the upper and the lower kept back
	"filter": "M0.4,1.2C1.2,0 2.2,0 3,1.2C3.8,2.4 4.8,2.4 5.6,1.2M0.4,3C1.2,1.8 2.2,1.8 3,3C3.8,4.2 4.8,4.2 5.6,3M0.4,4.8C1.2,3.6 2.2,3.6 3,4.8C3.8,6 4.8,6 5.6,4.8M2.4,2L3.6,0.4M2.4,5.6L3.6,4",
	// a contact with a lever
	"switch": "M0,3.6H1.2M1.2,3.6L4.6,1.4M4.8,3.6H6M4.8,1H6M4.8,1A0.3,0.3 0 1 0 4.81,1Z",
	// hysteresis
	"trigger": "M0.2,5H4.2V1M5.8,1H2V5",
	// a pulse
	"gate control": "M0.2,5H1.6V1H4.4V5H5.8",
	// a level or the other
	"control line": "M0.2,4.6H3V1.4H5.8",
}
