// Package mixplan holds the types of a mix plan: by how much each sound is
// trimmed, which category yields to which while it speaks and how, and the
// gain of the sum. It reads and writes plan.toml, in which people may change
// any number.
//
// It holds types only. The ducking law itself is mixplan/duck, scenes are laid
// out by mixplan/scene and made audible by mixplan/render; all of them import
// this package, and it imports none of them.
//
// # plan.toml
//
//	bus_gain_db = -1.5          # gain of the sum of everything
//
//	[priority]                  # higher wins when sounds meet
//	callout = 3
//	music = 1
//
//	[[trim]]                    # of one file, or without path of the category
//	path = "callouts/catch-it.wav"
//	category = "callout"
//	trim_db = 1.5
//
//	[[ducking]]
//	under = "callout"           # while a callout speaks ...
//	category = "music"          # ... the music yields
//	depth_db = 7.5
//	attack_ms = 60
//	hold_ms = 250
//	release_ms = 500
//	lookahead_ms = 60
//	dip_low_hz = 500            # both or neither: only this band yields
//	dip_high_hz = 4000
//
// Keys are named in messages as in the sound sheet: the second duck's depth is
// ducking[2].depth_db.
package mixplan
