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
// Voices are streams of gopxl/beep: Loop2 over a clip in memory, Volume for its
// trim. They are put in their places and added up here and not by beep's Seq
// and Mixer, because Mixer takes new memory for every block, which a live
// stream must not, and puts its last stream in the place of one that has
// ended, which changes the order of additions and so the last bit. beep's
// resampler has no low-pass (see samples/resample), so files at another rate
// than the machine's go through ours, after the loop, which keeps loops
// seamless at every rate.
//
// Run renders a whole scene; Stream is the same, pulled block by block by
// somebody who listens.
//
// Same timeline, plan and seed give the same bytes at any block size and on any
// number of cores.
package render
