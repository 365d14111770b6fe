// Package tone makes test signals whose truth is known exactly: sines, noise,
// sweeps, impulses, and an engine-like signal with a known crank phase.
//
// Nothing here is meant to be listened to. The sounds exist so that meters
// and trackers can be checked against what went in. Every signal is
// deterministic: the same arguments and seed give the same samples.
package tone
