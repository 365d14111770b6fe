// Package render makes a scene audible: every sound at its frame, the engine
// along its curve, categories trimmed and ducked as the plan says, the sum
// with the plan's bus gain. It writes blocks to sinks and keeps nothing; a
// meter and a file are two sinks.
//
// Order of work, per category: each sound times its trims, the sum of them,
// the category's ducks (mixplan/duck), the bus gain. The mix is the sum of the
// categories in the order of scene.Timeline.Categories, so that stems added up
// in that order are the mix, to the last bit. The last 10 ms of a scene are
// faded out, because a scene ends in the middle of things.
//
// Levels are read as BS.1770 writes them: a mono file counts once, but in a
// scene of two channels it plays in both and so reads 3.01 LU higher than its
// file. The note is not turned down as engine.Render does with a single one:
// a scene over full scale is for the bus gain to cure.
//
// Streams are mixed by gopxl/beep: Loop2 over a clip in memory, Seq and Take
// to put it in its place, Mixer to add up a category. Two habits of it matter
// here. Mixer puts its last stream in the place of one that has ended, which
// changes the order of additions and so the last bit, depending on where
// blocks end; streams are therefore followed by silence and never end. Its
// resampler has no low-pass (see samples/resample), so files at another rate
// than the machine's go through ours, after the loop, which keeps loops
// seamless at every rate.
//
// Same timeline, plan and seed give the same bytes at any block size and on any
// number of cores.
package render
