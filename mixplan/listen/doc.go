// Package listen is what a person on headphones hears of the machine, live: a
// scene as it is and as a plan has it, with an engine that a hand may work, in
// the machine's hall and through its cabinet, and always under a ceiling.
//
// # Order of work
//
// Two streams of package render play the same scene side by side, plain and
// planned; Planned fades from one to the other within 30 ms. A live engine
// takes the place of the scene's engine in both: one note, copied, trimmed and
// ducked by the plan on the planned path wherever a callout of the scene
// speaks. Then come, in this order: the plan's bus gain, the faders, the sum
// (which is metered: it is what the machine's amplifier gets), the match, the
// cabinet, the hall, the headphone volume, the limiter.
//
// # Match
//
// Louder sounds better, so plain and planned are made equally loud: the louder
// of the two is turned down, by the difference of their integrated loudness
// over the whole scene, with all faders at 0 dB and the scene's own engine. It
// is measured once for each scene and plan, by Play and SetPlan. Without a
// scene it is the difference that trim and bus gain make to the engine. The
// match turns the hall down as well, so that the machine always stands beside
// its hall as it would at the player's ear. Meters, levels at the ear and the
// index do not see it.
//
// # Hall and cabinet
//
// The cabinet is one speaker: both channels folded to their mean, through
// ear.Cabinet. The hall is noise from two seeds. With the cabinet they stand
// beside each other as package ear says; without it the hall is scaled so that
// pink noise keeps its place.
//
// # Index
//
// The index of the callout that sounds is the extended SII, as package meet
// takes it: the callout's long-term spectrum, raised by trim, bus gain and
// fader, over frames of everything else and the hall, whether the hall is
// heard or not. Of callouts that overlap, the one that began last counts, and
// the others do not mask it.
//
// # Time
//
// Controls act from the first frame of the next Stream on. Nothing depends on
// how the stream is cut into blocks otherwise. The limiter's look-ahead makes
// everything 1.7 ms late. Nothing jumps: faders, volume, rooms and paths are
// ramped, what Silence shut off comes back within half a second.
//
// A block takes no new memory, with these exceptions: a few kB ten times a
// second for loudness and six times for the levels at the ear, and the next
// lap of a loop, which is made ready beside the sound.
package listen
