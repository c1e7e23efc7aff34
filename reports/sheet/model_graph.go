package sheet

// graph is a drawing of any kind: what was found against frequency, a course
// over time, a stability plot. Its values are for drawing only.
type graph struct {
	*words
	Caption string
	X, Y    graphAxis
	Lines   []graphLine
	Levels  []graphLevel // horizontal, over the whole width
	Steps   []graphStep  // limits that hold at some places only
	StepsAs string       // legend text for Steps
}

// graphAxis has its title with the unit. Frequency axes are logarithmic and
// written with prefixes.
type graphAxis struct {
	Title     string
	Log       bool
	Frequency bool
	From, To  float64 // what must be seen beside the data; nothing where equal
}

// graphLine is one set of dots, joined where they are a course.
type graphLine struct {
	Name   string
	Joined bool
	Fit    bool // computed: a dashed line without dots
	Points []xyu
}

// xyu is one value with its expanded uncertainty, 0 where there is none.
type xyu struct{ X, Y, U float64 }

// graphLevel is a horizontal line with its name.
type graphLevel struct {
	Name string
	Y    float64
}

// graphStep is a stretch of a limit; From equals To where it holds at one place.
type graphStep struct{ From, To, Y float64 }

func (g *graph) texts() []*string {
	list := []*string{&g.Caption, &g.X.Title, &g.Y.Title, &g.StepsAs}
	for k := range g.Lines {
		list = append(list, &g.Lines[k].Name)
	}
	for k := range g.Levels {
		list = append(list, &g.Levels[k].Name)
	}
	return list
}

func (g *graph) titles() (x, y, caption string) { return g.X.Title, g.Y.Title, g.Caption }

func (g *graph) about() []string {
	var list []string
	for _, l := range g.Lines {
		list = append(list, l.Name)
	}
	for _, l := range g.Levels {
		list = append(list, l.Name)
	}
	if len(g.Steps) > 0 {
		list = append(list, g.StepsAs)
	}
	return list
}
