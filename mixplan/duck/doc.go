// Package duck is the ducking law: how a category of sounds yields while
// another speaks. Solver, renderer and preview use this one implementation,
// and the game has to do the same. This page is written for the programmer
// who does it; Vectors gives numbers to check the result against.
//
// # In words
//
// While a callout speaks, the music goes down by depth_db, along a straight
// line in decibels that takes attack_ms. It stays there through short pauses
// and for hold_ms after the last word, and comes back along a straight line
// that takes release_ms. It begins lookahead_ms before the speech.
//
// # Speech
//
// A sound speaks from s to e seconds; the plan's tool lists these stretches
// ("active_s" of `tachbench plan --json` for every callout, of `tachbench mix
// --json` for every sound of a scene, in seconds from the sound's first
// sample). All stretches of all sounds of one category count
// alike; it does not matter which of several callouts it is.
//
// # One rule
//
// A rule is one [[ducking]] of the plan: D = depth_db, A, H, R, L = attack_ms,
// hold_ms, release_ms, lookahead_ms, each divided by 1000. Let
//
//	w(t) = 1 if s-L <= t < e+H for any stretch s..e of the category under,
//	       else 0
//
// The attenuation a(t) in dB, 0 or more, starts at a = 0 and moves towards
// D·w(t), never faster than
//
//	down:  D/A  dB per second   while w = 1
//	up:    D/R  dB per second   while w = 0
//
// and stops exactly at D or 0. Frame by frame, with fs frames per second:
//
//	if w { a = min(D, a + D/(A·fs)) } else { a = max(0, a - D/(R·fs)) }
//
// where frame n lies in w if
//
//	round((s-L)·fs) <= n < round((e+H)·fs)
//
// The new value of a is the attenuation of that very frame. That is all:
//
//   - Retrigger: a sound that begins during a release turns the ramp round
//     where it is. There is no jump and no second ramp.
//   - Pauses shorter than L+H do not let go, because the windows touch.
//   - Overlap: several callouts at once are one window. Depths do not add.
//   - Look-ahead: what is known to come begins early. A game that starts a
//     callout on an event starts the duck at once and the sound L later, or
//     starts both at once and has the duck late by L. A stretch that becomes
//     known late counts from the moment it is known.
//
// # Priorities
//
// Priorities decide which rules there may be, not what happens while the game
// runs: a category never yields to one of lower priority, and the plan's
// reader refuses such a rule. Nobody yields to a sound without a rule.
//
// # Several rules on one category
//
// Each rule runs for itself. The attenuation of the category is the largest of
// its rules without a band (the deepest wins; they never add):
//
//	b(t) = max over rules without a band of a(t)
//	gain(t) = 10^(-b(t)/20)
//
// # Rules with a band
//
// A rule with dip_low_hz f1 and dip_high_hz f2 only takes its band down. Rules
// of a category with the same band share one filter; their attenuation is
// again the largest, less what the whole category yields anyway, so that
// nothing is taken twice:
//
//	d(t) = max(0, max over the rules of the band of a(t) - b(t))
//	g(t) = 10^(-d(t)/20)
//	y = x - (1 - g(t))·P(x)
//
// P is a fixed band-pass of second order, so only its output is turned up and
// down: the filter is stable however fast g moves, it is minimum-phase for
// every g, and at g = 1 it is the identity. The response while g stands still
// is, with u = tan(πf/fs), u0² = tan(πf1/fs)·tan(πf2/fs) and the bandwidth
// B = (tan(πf2/fs) - tan(πf1/fs))/√G,
//
//	|Y/X|² = (w² + g²)/(w² + 1),   w = (u - u0²/u)/B
//
// where G = 10^(-Dmax/20) belongs to the deepest rule of the band: at full
// depth the middle of the band is down by Dmax and either edge by Dmax/2. As a
// direct form:
//
//	K = 1 + B + u0²
//	b0 = B/K, b1 = 0, b2 = -B/K, a1 = 2(u0² - 1)/K, a2 = (1 - B + u0²)/K
//	p = b0·(x - x2) - a1·p1 - a2·p2
//
// Then the broadband gain is applied. Both together are what the category's
// bus does; trims come before, the bus gain after.
//
// # Limits
//
// The plan's reader holds depths and slopes within the limits of package
// mixplan; the engine never yields by more than mixplan.MaxEngineDepthDB.
// Nothing here depends on how the sound is cut into blocks, to the last bit.
package duck
