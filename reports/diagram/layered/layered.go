package layered

// Box is a node of the graph. Lengths are in millimetres, as everywhere here.
type Box struct {
	Width, Height float64 // Height grows where lines need room for their ends
	// Above and Below are free room that the box needs over and under it, Right
	// at the beginning of each line that leaves it.
	Above, Below, Right float64
	// Band is where the box would best be from the top; lower numbers first.
	Band float64
	// Late boxes stand next to what they lead to, others next to what leads to them.
	Late bool
}

// Line leads from the right side of a box to the left side of another, or to its
// underside. Lines of one box with the same Net leave by one end, and part later.
type Line struct {
	From, To int
	Net      int
	Under    bool
}

// Graph is what is laid out.
type Graph struct {
	Boxes []Box
	Lines []Line
	// A drawing wider than Sheet is cut into strips where it is more than Widest
	// times as wide as high; 0 for never.
	Sheet, Widest float64
}

// Point is a place, y downwards.
type Point struct{ X, Y float64 }

// Rect is a box that has its place.
type Rect struct{ X, Y, W, H float64 }

// Route is the pieces of a line: one, or two where strips are cut, the first to a
// tag, the second from a tag of the same number.
type Route [][]Point

// Tag stands where a line is cut, with the number of its other end.
type Tag struct {
	Rect
	Number int
	From   int  // the box that the line comes from
	Out    bool // the line goes on elsewhere; else it comes from elsewhere
}

// Drawing is the result, its upper left corner at 0, 0.
type Drawing struct {
	Width, Height float64
	Boxes         []Rect
	Routes        []Route
	Tags          []Tag
	Dots          []Point // where a line parts
}

// Spacing.
const (
	pitch     = 4.0  // of the ends of lines at a box
	trackGap  = 2.5  // between tracks in a channel
	near      = 1.5  // lines of less distance look like one
	boxGap    = 5.0  // between boxes
	lineGap   = 3.0  // between a line and anything else
	beforeBox = 4.0  // room for an arrow
	stripGap  = 10.0 // between strips
	tagWidth  = 8.0
	tagHeight = 5.0
)

// Layout lays a graph out. The ends of lines have to be indices of boxes.
func Layout(g Graph) Drawing {
	forward := acyclic(g)
	column := columns(g, forward)
	strips := fold(g, forward, column)
	d := Drawing{Boxes: make([]Rect, len(g.Boxes)), Routes: make([]Route, len(g.Lines))}
	for _, s := range strips {
		s.place()
		s.draw(&d)
	}
	return d
}
