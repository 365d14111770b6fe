// Package standin is an engine made of formulas, for the demonstration and
// for people who have no recordings yet. It writes what a microphone behind
// a machine would have caught: holds, pulls, coast-downs, any motion.
//
// It is physically informed, not a simulation. Every cylinder opens its
// exhaust once a cycle and lets out a blowdown pulse whose strength varies
// from cycle to cycle as combustion does; the pulses run through a pipe with
// changes of area (a digital waveguide with lossy, reflecting ends), so the
// pipe's resonances stay where they are while the revs move; flow noise
// rides on the pulses, intake noise on the intake strokes, and the block
// ticks with combustion, piston slap and valves. Load changes the colour:
// weak, rough pulses with an odd soft pop on the overrun, hard fronts and a
// loud intake at full load.
//
// The approach follows what is published on the subject in outline: pulse
// train, jitter and waveguides as in Farnell, Designing Sound, 2010, and
// Baldan et al., IEEE SIVE 2015.
package standin
