// Package headroom says how often the sum of everything a machine plays runs
// over full scale, by playing it for hours.
//
// # The play
//
// Minutes of play are drawn from a seed and mixed from the real files with the
// plan's trims, ducks and priorities of place: beds (meet.BedS and longer)
// loop one at a time from a random place; callouts and effects arrive at
// random (Poisson), at the rates of the sheet's scenes or, where no scene says
// anything, at CalloutsPerMin and EventsPerMin; callouts wait for each other
// and are dropped after StaleS, at most Voices effects sound at once; the
// engine follows a lever that is pressed and let go. What a scene never does
// (two beds, an effect a hundred times a minute) is not played either.
//
// # Over
//
// The highest sample of every 10 ms is kept. An overrun is a run of blocks
// over the limit; two runs less than MergeS apart are one, because they are
// heard as one. The rate comes with the exact 95 % interval of a Poisson
// count (Garwood 1936, chi-square quantiles). Between samples the signal may
// run higher by some tenths of a dB; the ceiling of single files does not
// protect the sum.
package headroom
