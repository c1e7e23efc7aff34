// Package layered lays out a directed graph from left to right: boxes in columns,
// lines of horizontal and vertical pieces between them that never run through a
// box. It knows nothing of what the boxes are.
//
// The way is that of Sugiyama, Tagawa and Toda (1981) in steps: cycles are opened
// (cycles.go), boxes get columns (columns.go), a drawing that is too long is cut
// into strips that continue below each other (fold.go), the order within columns
// is chosen so that few lines cross (order.go), heights are chosen so that lines
// run straight (heights.go), and lines get tracks in the channels between the
// columns (tracks.go, route.go). Equal graphs give equal drawings.
package layered
