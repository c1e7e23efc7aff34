// Package diagram draws the block diagram of a unit as SVG, with each stage shaded
// by how probably it is at fault and the next look marked. It draws what it is
// given: what the probabilities mean is the business of runner/isolate.
//
// Lengths are in millimetres, which are the units of the picture. Shading is told
// apart by lightness alone, and never stands alone: the figure is in the block,
// and the three most probable stages have a thick border. The kinds of connections
// differ in their dashes. Symbols of stages follow the usual ones for block
// diagrams (IEC 60617, from memory), with the name in words below each.
//
// No kept Go module gave what this needs: go-graphviz v0.2.10 runs Graphviz in
// WebAssembly (9 MB more, 20 ms to start), but its orthogonal lines run through
// blocks and know no ends, 2000 stages took it 20 s, and a mistake of its input
// panics. So package layered lays out.
package diagram
