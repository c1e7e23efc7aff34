package sheet

import "time"

// document is all that is on a data sheet, in reading order. It holds every
// text; a writer adds nothing but page numbers.
type document struct {
	*words
	Head    letterhead
	Title   string
	IDs     []string // record ids
	Records string   // the same with what they are, for every page
	// Fingerprint seals the records, for every page: short hashes of records and
	// key, head of the chain; "" where nothing is sealed.
	Fingerprint string
	Invented    string // a line for every page: invented data, withdrawn or replaced; "" for real work that holds
	End         string // the end mark
	Subject     string // unit, for the footer
	Author      string
	Program     string
	Created     time.Time
	Blocks      []block
}

// block is one thing on the sheet: *heading, *paragraph, *notice, *grid,
// *table, *notes, *chart, *graph or *signatures.
type block interface {
	// texts gives every text of the block, for cleaning in one place.
	texts() []*string
}

// heading begins a part. Level 1 is a section, 2 a part of it.
type heading struct {
	Level int
	Text  string
	Tall  bool   // a grid, a chart and a table follow and want to begin on its page
	Apart bool   // a worksheet begins here
	Tab   string // its name where Text would be too long
}

// paragraph is running text; line feeds in it are kept.
type paragraph struct {
	Label string // in front, set apart; "" for none
	Text  string
}

// notice is a framed box that must not be overlooked.
type notice struct {
	Alert bool // heavier frame: something is wrong with the run as a whole
	Title string
	Lines []string
}

// grid is a list of keys with their values, set in so many columns.
type grid struct {
	Columns int
	Small   bool
	Items   []item
}

type item struct{ Key, Value string }

// align says how the cells of a column stand.
type align int

const (
	left  align = iota
	right       // numbers with a unit
	point       // numbers, on the decimal point
)

// column of a table. Columns with the same Group that stand side by side share
// a heading above theirs.
type column struct {
	Group string
	Head  string
	Align align
}

// mark sets a cell apart so that it survives black-and-white print and
// colour-blind reading.
type mark int

const (
	plain mark = iota
	failed
	conditional
	notJudged
)

// flag is the mark's sign, printed in a column of its own.
func (m mark) flag() string { return [...]string{"", "■", "▲", "?"}[m] }

type cell struct {
	Text string
	Mark mark
}

// table repeats its headings on each page. Legend explains flags.
type table struct {
	Title   string
	Tab     string // names the table's own worksheet; "" for one among running content
	Columns []column
	Rows    [][]cell
	Legend  string
}

// notes is a list of remarks.
type notes struct {
	Title string
	Lines []string
}

// signatures are lines to sign on.
type signatures struct{ Lines []item } // role, name where known

// chart is the relative error against frequency at one input.
type chart struct {
	*words
	Caption string
	X       string // axis titles
	Y       string
	From    float64 // Hz, edges of the input's range
	To      float64
	Series  []series
	Bands   []band
	Gaps    []gap
	// Legend texts for signs that are no series.
	Outside, NoValue, NotJudged string
	NotShown                    string // label of a gap without room for its own
}

// series is one run's points.
type series struct {
	Name   string
	Marker int // 0 hollow circle, 1 hollow diamond, 2 filled circle
	Points []dot
}

// dot is one point; Y, U and Limit (0: none) in ppm. Without a value Mark tells
// which sign stands on the axis instead.
type dot struct {
	X, Y, U float64
	Limit   float64
	Valued  bool
	Mark    mark
}

// band is ±limit in ppm against frequency, in rising order of frequency.
type band struct {
	Name   string
	Filled bool
	Points []xy
}

type xy struct{ X, Y float64 }

// gap is a stretch that was not shown.
type gap struct {
	From, To float64
	Label    string
}

func (h *heading) texts() []*string   { return []*string{&h.Text, &h.Tab} }
func (p *paragraph) texts() []*string { return []*string{&p.Label, &p.Text} }

func (n *notice) texts() []*string { return append(pointers(n.Lines), &n.Title) }
func (n *notes) texts() []*string  { return append(pointers(n.Lines), &n.Title) }

func (g *grid) texts() []*string       { return itemTexts(g.Items) }
func (s *signatures) texts() []*string { return itemTexts(s.Lines) }

func (t *table) texts() []*string {
	list := []*string{&t.Title, &t.Tab, &t.Legend}
	for k := range t.Columns {
		list = append(list, &t.Columns[k].Group, &t.Columns[k].Head)
	}
	for _, r := range t.Rows {
		for k := range r {
			list = append(list, &r[k].Text)
		}
	}
	return list
}

func (c *chart) texts() []*string {
	list := []*string{&c.Caption, &c.X, &c.Y, &c.Outside, &c.NoValue, &c.NotJudged, &c.NotShown}
	for k := range c.Series {
		list = append(list, &c.Series[k].Name)
	}
	for k := range c.Bands {
		list = append(list, &c.Bands[k].Name)
	}
	for k := range c.Gaps {
		list = append(list, &c.Gaps[k].Label)
	}
	return list
}

func pointers(list []string) []*string {
	out := make([]*string, len(list))
	for k := range list {
		out[k] = &list[k]
	}
	return out
}

func itemTexts(items []item) []*string {
	var out []*string
	for k := range items {
		out = append(out, &items[k].Key, &items[k].Value)
	}
	return out
}

func (c *chart) titles() (x, y, caption string) { return c.X, c.Y, c.Caption }

// about lists what is drawn, with the signs that are in use.
func (c *chart) about() []string {
	var list []string
	for _, s := range c.Series {
		list = append(list, s.Name)
	}
	for _, b := range c.Bands {
		list = append(list, b.Name)
	}
	outside, none, unjudged := c.signs()
	for _, x := range []struct {
		used bool
		name string
	}{{none, c.NoValue}, {unjudged, c.NotJudged}, {outside, c.Outside}} {
		if x.used {
			list = append(list, x.name)
		}
	}
	for _, g := range c.Gaps {
		list = append(list, g.Label)
	}
	return list
}
