// Package defect finds what is wrong with the sounds of a machine: clipping,
// clicks, hum, hiss, late starts, bad loop seams, wasted channels, names that
// an embedded file system refuses, and more. It finds and explains; it mends
// nothing and prints nothing.
//
// # Two kinds of check
//
// A [Scan] listens to one sound as it streams past and reports what it hears
// ([NewScan], Write, Finish). Everything that needs other measures (true peak,
// loudness) or other files (names, twins, spread) is a pure function of facts:
// [CheckTruePeak], [CheckFormat], [CheckLoudness], [CheckNames] and so on.
//
// # Tables
//
// [Rules] lists every rule with its severity, the kinds of sound it is for, why
// it matters on a machine and what to do. [Limits] lists every threshold with
// its unit, default and source. Both are the only place of their numbers.
// Thresholds can be overridden by key ([NewOptions]).
//
// # How a Scan works
//
// Sound is cut into chunks of ten ticks of about 1 ms, counted from the first
// frame, so the result cannot depend on the block size. One hot loop (hot.go)
// reduces each tick of each channel to a few numbers; the detectors look at
// those and go back to the samples only where something is suspicious. Memory
// is constant: rings of 256 ticks, a histogram of levels, and the sound next to
// loop points (the first 4 loops, about 85 ms on each side). Nothing is allocated per
// block.
//
// # What it cannot hear
//
// A click that repeats within 60 ms (that is how engines and voices sound), tops
// cut for one or two samples only (a peak limiter leaves the same), a
// soft-knee limiter driven too hard, clipping that was coded lossily
// afterwards, a tail that was cut and then faded within a few milliseconds, hum
// in a callout without pauses. A square wave with single-step edges has flat
// tops by nature and is not called clipped.
package defect
