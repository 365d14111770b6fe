// Package auditpage writes an audit as one page that needs nothing else: no
// script, no font, no picture from anywhere. It opens from the disk, prints,
// follows the reader's light or dark setting and fits a telephone.
//
// Charts are SVG drawn here. Only their lines and areas are SVG, stretched to
// the width at hand; words and numbers around them are ordinary text, so that
// they keep their size on a narrow screen. Every chart has a title and a
// description, and its values stand in a table as well. Colours are of the
// Okabe-Ito set and never the only sign: severities have words and shapes.
//
// The same result gives the same bytes.
package auditpage
