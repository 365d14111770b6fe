// Package solve finds the smallest mix plan under which every callout that can
// be understood is understood, says for the others what stands in the way,
// and proves itself on a rendered mix.
//
// # What is asked
//
// A callout meets the rest of the machine in many ways (package meet). It
// counts as understood if its speech intelligibility index reaches the target
// in nine of ten meetings: the figure of a callout is the lowest index that is
// left when the worst tenth of its meetings is put aside. The index of a meeting
// is a mean over moments; the 10th percentile over the moments of all meetings
// and the weakest place in the callout are reported beside it and not aimed at,
// because a word may drown though the mean is fine.
//
// # Annoyance
//
// Among all plans that reach the target, the one with the least
//
//	cost = Σ c·a²
//
// is taken, a being the loudness level in dB that a category loses while it
// yields and c how dear the category is: 1 for music, 2 for effects and for
// any other category, 4 for the engine, because the player steers by it. The
// square spreads the burden: two small ducks are heard less than a large one.
// Our judgement, no source.
//
// For a duck of all frequencies a is its depth. For a band it is the loss of
//
//	10·log2 Σ (10^(L/10))^0.30103,   L the A-weighted third octaves at the ear,
//
// of the category's long-term spectrum: 10 dB in every band halve it, as
// loudness in sone does. It knows nothing of masking between bands.
//
// # Search
//
// The index never falls when anything yields more, so the set of depths that
// do is closed upwards: it is empty exactly if the largest depths fail, and
// along a line its edge is found by halving. The search starts from several
// lines, then trades depth between pairs of categories as long as the cost
// falls. Its answer is held against a complete grid in the tests.
//
// # Time
//
// While a callout speaks the duck is at its depth: the attack begins that long
// before the speech. Attack and release keep to slopes that are not heard as
// steps or pumping, the hold bridges the callouts' own pauses.
package solve
