// Package note plays a continuous engine note from a bank of grains.
//
// # How it works
//
// A phase accumulator counts engine cycles at the requested revs. At every
// cycle it asks for a grain: the cheapest of the nearest in revs, by distance
// in revs, direction of change, how well its sound joins what is sounding,
// its colour, and how long ago it was used. The grain is read in step with
// the phase, so that the note's revs are the request's and cannot drift:
//
//	read step = (recorded cycle length) · (requested cycle rate), in recorded
//	            frames per frame, held to 1 ± bank.ResampleLimit
//
// Where the recordings are further away than that limit, the rest is made up
// by setting cycles closer together or further apart than they were recorded
// (re-spacing), which leaves the exhaust's resonances where they are. This is
// the family of pitch-synchronous overlap-add methods: Moulines & Charpentier
// 1990 for speech; Jagla, Maillard & Martin, JASA 132(5), 2012, for engines.
//
// Two grains overlap around a cut. With weights a falling and b rising,
// a+b=1, and ρ the correlation of the two over the overlap, their gains are
// a/n and b/n with n² = a² + b² + 2ρab, which holds the power for every ρ: at
// the midpoint 1/√(2(1+ρ)). A cycle followed by the one that follows it in the
// recording needs no join at all.
//
// Recordings at different loads are layers. Each layer runs its own chain of
// grains on the one phase; a load between two layers mixes both, again with
// gains that know how alike they are.
//
// # Determinism
//
// The output depends on bank, seed, and the moves with their frame numbers,
// and on nothing else: not on block sizes, cores or wall time.
package note
