// Package plot draws the pictures of tachbench as SVG by hand: no script, no
// outside font, text as text, a title and a description for screen readers,
// on a paper-white ground of their own so that a picture looks the same on a
// light page, on a dark page and in print.
//
// The same input gives the same bytes.
package plot
