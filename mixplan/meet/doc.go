// Package meet lets every callout meet everything that may play with it, in
// short frames at the player's ear, and says how much of it is understood.
//
// # Frames
//
// A sound is folded to mono, brought to the machine's rate and measured in
// third octaves every step of about 20 ms (1024 samples at 48 kHz, a power of
// two at every rate). Short windows cannot tell low bands apart and long ones
// cannot follow speech, so three lengths are used:
//
//	800 Hz and over   1 step   (21 ms, two windows a frame)
//	160 .. 630 Hz     4 steps  (85 ms)
//	20 .. 125 Hz      16 steps (341 ms, one window for four frames)
//
// A third octave at 160 Hz is 37 Hz wide and one at 20 Hz is 4.6 Hz wide;
// neither can change faster than about one over its width, so little is lost.
// What the longer windows do lose is the short gap in a low masker: low bands
// are judged a little too steady, which leans to the safe side. Windows are
// half sines; one that reaches over an end of the sound is scaled by what it
// really covers, so a steady sound reads the same in its first frame as in
// its middle.
//
// # Speech
//
// The spectrum of a callout is its long-term spectrum over active frames, as
// the extended index wants it. A frame is active if its level is no more than
// 15.9 dB (the margin of ITU-T P.56) under the active speech level, or if it
// lies in a pause of at most 0.2 s between such frames (the hangover of P.56,
// without the tail).
//
// # Meetings
//
// A meeting is a callout over the hall and one sound of each other category,
// each at a random place, and over the engine at one step of its revs: what a
// player gets in the middle of a game. All draws come from the seed and the
// callout's own name, so that adding a file changes nothing for the others.
// Beds (BedS and longer) are taken as loops; shorter sounds are placed so that
// they touch the callout.
package meet
