// Package planpage writes a mix plan as one page that needs nothing else: no
// script, no font, no picture from anywhere. It opens from the disk, prints,
// follows the reader's light or dark setting and fits a telephone.
//
// Charts are SVG fields stretched to the width at hand; words and numbers
// around them are ordinary text. Every number of a chart stands in a table or
// sentence as well, and colour is never the only sign: how well something is
// understood has a word, a shape and a number.
//
// The same report gives the same bytes.
package planpage
