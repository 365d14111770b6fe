// Package report turns results into what people and scripts read: tables on
// a terminal and the JSON documents of the command line.
//
// The JSON shapes are structs of this package alone, so that a rename
// elsewhere cannot break a script. Every number carries its unit in its key;
// what cannot be measured is null.
package report
