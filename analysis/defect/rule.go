package defect

import "slices"

// Rule describes one thing that can be wrong. IDs are stable: scripts and
// people rely on them.
type Rule struct {
	ID       string
	Severity Severity
	Kinds    []Kind   // which sounds it is judged on; nil = all
	What     string   // the defect in a few words
	Why      string   // why it matters on a machine, one sentence
	Do       string   // what to do, one sentence
	Limits   []string // keys of [Limits] it looks at
}

// Applies reports whether the rule is judged on sounds of kind k.
func (r Rule) Applies(k Kind) bool { return r.Kinds == nil || slices.Contains(r.Kinds, k) }

var (
	oneShots = []Kind{Callout, Effect}        // played once, from the first sample to the last
	speech   = []Kind{Callout}                // has pauses in which noise can be heard and measured
	notNotes = []Kind{Callout, Effect, Other} // ends where the file ends
	unlooped = []Kind{Callout, Effect, Music, Other}
)

// rules is the table of all rules, in the order of the audit's documentation.
var rules = []Rule{
	{"clipped", Error, nil, "clipped at full scale",
		"The distortion is in the sound itself and no volume setting removes it.",
		"Export it again with less gain, or record it again if the source is cut too.",
		[]string{"clip_run", "clip_places"}},
	{"clipped-then-turned-down", Warning, nil, "flat tops below full scale",
		"It was clipped first and turned down afterwards, so it looks safe on a meter and still sounds harsh.",
		"Go back to the source before the clipping stage.",
		[]string{"clip_run", "flat_places", "flat_min_dbfs"}},
	{"wrapped-around", Error, nil, "overload that wrapped around",
		"Where the wave went over the top it comes back from the bottom, a crack far louder than clipping.",
		"Export it again with less gain, from a tool that clips instead of wrapping.",
		nil},
	{"true-peak-over", Error, nil, "true peak over the limit",
		"The converter or the next resampler clips between the samples, the more so when sounds add up.",
		"Lower the gain by the difference, or limit with a true-peak limiter.",
		[]string{"true_peak_dbtp"}},
	{"fold-down-overload", Warning, nil, "overload on mono fold-down",
		"A cabinet that adds left and right for its one speaker clips here.",
		"Lower the gain, or deliver a mono mix.",
		[]string{"fold_gain_db", "fold_peak_dbfs"}},
	{"fold-down-loss", Warning, nil, "much is lost on mono fold-down",
		"On a cabinet with one speaker the sound gets thin or vanishes.",
		"Reduce stereo widening, or deliver a mono mix.",
		[]string{"fold_loss_db"}},
	{"not-a-number", Error, nil, "samples that are not numbers",
		"A player may turn them into full-scale noise or stop the mixer altogether.",
		"Export it again; the tool that wrote it divided by zero or left memory unset.",
		nil},

	{"dc", Warning, nil, "DC offset",
		"It wastes headroom, pushes the speaker cone off its middle and makes every start and stop click.",
		"High-pass at 10 to 20 Hz and export again.",
		[]string{"dc"}},
	{"hum", Warning, speech, "mains hum",
		"A cabinet speaker near a wall makes hum stand out in every pause.",
		"Notch the mains frequency and its harmonics, or record again on a balanced line.",
		[]string{"hum_below_speech_db", "hum_line_db", "pause_s"}},
	{"hiss", Warning, speech, "poor speech-to-noise",
		"The noise switches on and off with each line, which players hear even when they do not hear the noise.",
		"Use a cleaner take, or reduce the noise and fade the ends.",
		[]string{"speech_to_noise_db"}},

	{"click", Warning, nil, "click inside",
		"A single tick is heard as a fault of the machine.",
		"Redraw or cut the place, or repeat the edit with a crossfade.",
		[]string{"click_ratio", "click_residual_ratio", "click_min_dbfs"}},
	{"dropout", Error, nil, "dropout inside",
		"A hole in the sound is heard as a fault of the machine.",
		"Export again; a buffer ran empty when this file was made.",
		[]string{"dropout_s", "dropout_max_s"}},
	{"click-at-start", Warning, unlooped, "click at the start",
		"The speaker jumps from rest to the first sample, each time the sound is triggered.",
		"Start at a zero crossing or fade in over 1 to 2 ms.",
		[]string{"edge_step", "edge_ratio"}},
	{"click-at-end", Warning, unlooped, "click at the end",
		"The speaker jumps from the last sample back to rest, each time the sound is played.",
		"End at a zero crossing or fade out over 2 to 5 ms.",
		[]string{"edge_step", "edge_ratio"}},
	{"cut-off-tail", Warning, notNotes, "tail cut off",
		"The sound stops dead while it is still loud, as if the machine had dropped it.",
		"Export with the whole tail, or fade out over 20 ms or more.",
		[]string{"cut_off_below_db"}},
	{"starts-late", Warning, oneShots, "starts late",
		"The silence before it adds to the time between the player's hand and the sound, and the game feels slow.",
		"Cut the silence off, leaving a few milliseconds.",
		[]string{"lead_s", "silence_below_db"}},
	{"dead-tail", Note, oneShots, "long dead tail",
		"The silence holds a voice of the mixer, delays what waits for the end, and takes space on the card.",
		"Cut the silence off.",
		[]string{"tail_s", "silence_below_db"}},
	{"only-silence", Error, nil, "nothing but silence",
		"The player hears nothing where the game meant something.",
		"Replace the file, or take it out of the package.",
		[]string{"silent_dbfs"}},

	{"loop-points", Error, nil, "loop points outside the sound",
		"Players stop, read past the end, or ignore the loop, each in its own way.",
		"Set the loop points again inside the sound.",
		nil},
	{"loop-seam-click", Error, nil, "click at the loop seam",
		"It ticks on every turn of the loop for as long as the loop is held.",
		"Move the loop points to matching places or crossfade the seam.",
		[]string{"seam_click_ratio"}},
	{"loop-seam-level", Warning, nil, "level step at the loop seam",
		"The sound pulses on every turn of the loop.",
		"Choose places of equal level, or crossfade the seam over 50 ms or more.",
		[]string{"seam_level_db"}},
	{"loop-seam-colour", Warning, nil, "colour step at the loop seam",
		"The sound changes its character on every turn of the loop.",
		"Choose places of equal revs and load, or crossfade the seam over 50 ms or more.",
		[]string{"seam_colour_db"}},
	{"loop-not-whole-cycles", Warning, nil, "loop is not a whole number of cycles",
		"The pitch stumbles on every turn of the loop.",
		"Move the end of the loop to a whole number of cycles after its start.",
		[]string{"seam_cycle_share"}},

	{"dead-channel", Warning, nil, "dead channel",
		"One speaker stays silent, or a mono cabinet plays the sound at half level.",
		"Deliver it as mono or fill the channel.",
		[]string{"dead_channel_db"}},
	{"channels-identical", Note, nil, "channels identical",
		"It pays for stereo and is heard as mono: twice the space and twice the reading time.",
		"Deliver it as mono.",
		[]string{"identical_db"}},
	{"opposite-polarity", Error, nil, "channels in opposite polarity",
		"On a cabinet with one speaker the channels cancel and the sound vanishes.",
		"Invert one channel.",
		[]string{"opposite_correlation"}},

	{"loudness-off-target", Warning, nil, "loudness off target",
		"It jumps out of the package or drowns in it, and the operator's one volume knob cannot mend that.",
		"Change its gain by the difference.",
		[]string{"tolerance_lu"}},
	{"loudness-spread", Warning, nil, "loudness spread in the category",
		"Sounds of one kind should be heard as one family.",
		"Bring the outer ones nearer to the middle.",
		[]string{"spread_lu"}},
	{"wrong-rate", Error, nil, "wrong sample rate",
		"The machine plays it too slow or too fast, or spends time on converting it.",
		"Convert it to the machine's rate.",
		nil},
	{"wrong-depth", Warning, nil, "wrong bit depth",
		"The machine may refuse it, or cut the lower bits off without dither.",
		"Export it with the machine's bit depth, with dither when going down.",
		nil},
	{"wrong-channels", Warning, nil, "wrong number of channels",
		"The machine may refuse it, or play it from the wrong speakers.",
		"Export it with the channels the machine has.",
		nil},
	{"narrow-band", Warning, nil, "upsampled or low-passed source",
		"It is duller than its sample rate promises, beside sounds that are not.",
		"Look for a better source, or deliver it at the lower rate it came from.",
		[]string{"bandwidth_share", "bandwidth_edge_db"}},

	{"same-sound-twice", Note, nil, "same sound under two names",
		"It takes space twice, and a change to one is forgotten on the other.",
		"Keep one and let both places use it.",
		nil},
	{"name-collision", Error, nil, "names that differ in case only",
		"A card with a FAT file system keeps only one of them, without a word.",
		"Rename one.",
		nil},
	{"name-refused", Error, nil, "name an embedded file system refuses",
		"The file is missing or renamed once the package is copied to the machine.",
		"Rename it with letters, digits, minus and underscore.",
		[]string{"name_bytes"}},
	{"name-not-plain", Note, nil, "name with characters beyond ASCII",
		"Another system may spell it in other bytes, and the game then does not find it.",
		"Rename it with letters, digits, minus and underscore.",
		nil},
	{"unused-file", Warning, nil, "file the sheet never uses",
		"Either the game misses a sound or the package carries a leftover.",
		"Add it to a category or take it out of the folder.",
		nil},
	{"missing-file", Error, nil, "sheet entry without a file",
		"The game will ask for it and stay silent.",
		"Add the file or correct the entry.",
		nil},
	{"unreadable", Error, nil, "cannot be read",
		"The machine will most likely not read it either.",
		"Export it again.",
		nil},
	{"truncated", Error, nil, "shorter than it says",
		"The end of the sound is lost, and some players read garbage in its place.",
		"Copy or export it again.",
		nil},
	{"odd-header", Warning, nil, "header that does not fit the file",
		"One player forgives it, the next one does not.",
		"Export it again with another tool.",
		nil},
}

// Rules returns the table of all rules. The slice is the caller's own.
func Rules() []Rule { return slices.Clone(rules) }

// RuleByID returns the rule with that id.
func RuleByID(id string) (Rule, bool) {
	for _, r := range rules {
		if r.ID == id {
			return r, true
		}
	}
	return Rule{}, false
}

func mustRule(id string) Rule {
	r, ok := RuleByID(id)
	if !ok {
		panic("defect: no rule " + id)
	}
	return r
}
