package sheet

import (
	"strings"
	"testing"
)

// engineKeys is an [engine] without fault; bad sheets add to it.
const engineKeys = "[engine]\ncylinders = 2\nstrokes = 2\nidle_rpm = 1600\nredline_rpm = 8200\n"

const listeningKeys = "[listening]\nlevel_at_ear_db = 82\nnoise_dba = 78\n"

func offsets(n int) string { return "[" + strings.TrimSuffix(strings.Repeat("0,", n), ",") + "]" }

// badSheets holds one fault each, or a few where several must be told. The
// wording is what a user reads; a change here is a change of the product.
var badSheets = []struct{ name, text, want string }{
	// The TOML itself.
	{"no value", "title = \n", `1:9: unexpected character U+000A at start of value`},
	{"no equals sign", "title\n", `1:6: expected '=' after key`},
	{"twice", "title = 'a'\ntitle = 'b'\n", `2:1: title: key title is already defined`},
	{"table twice", "[engine]\n[engine]\n", `2:2: engine: table engine already exists`},
	{"escape", "[category.callout]\nfiles = [\"C:\\sounds\"]\n", `2:13: invalid escape character U+0073 's'; paths are written with forward slashes`},
	{"unfinished list", "title = 'ä'\nx = [1,", `2:7: array is incomplete`},
	{"column in characters", "title = 'äöü' x\n", `1:15: expected newline but got U+0078 'x'`},
	{"not UTF-8", "a = 1\ntitle = 'M\xfcnchen'\n", `2:11: this byte is not UTF-8 text; save the sheet as UTF-8`},
	{"a recording", "RIFF\x10\x00\x00\x00WAVEfmt ", `1:5: expected '=' after key`},

	// The top.
	{"unknown key", "sample_rat = 48000\n", `1:1: sample_rat: unknown key; did you mean sample_rate?`},
	{"unknown far", "colour = 1\n", `1:1: colour: unknown key; known here: title, sample_rate, bit_depth, engine, category, listening, rev_band, scene`},
	{"unknown table", "[enginne]\nx = 1\n", `1:2: enginne: unknown key; did you mean engine?`},
	{"rate", "sample_rate = 7999\n", `1:1: sample_rate: must be 8000 to 192000 Hz, not 7999`},
	{"rate as float", "sample_rate = 48000.0\n", `1:1: sample_rate: must be a whole number, 8000 to 192000 Hz, not 48000`},
	{"rate as text", "sample_rate = \"48 kHz\"\n", `1:1: sample_rate: must be a whole number, 8000 to 192000 Hz, not the text "48 kHz"`},
	{"rate as date", "sample_rate = 1979-05-27\n", `1:1: sample_rate: must be a whole number, 8000 to 192000 Hz, not a date or time`},
	{"depth", "bit_depth = 20\n", `1:1: bit_depth: must be 16 or 24, not 20`},
	{"title", "title = 3\n", `1:1: title: must be text in quotes, not 3`},
	{"empty title", "title = ' '\n", `1:1: title: must not be empty`},
	{"title of two lines", "title = \"a\\nb\"\n", `1:1: title: must be one line of text without control characters, not the text "a\nb"`},

	// Engine.
	{"engine no table", "engine = true\n", `1:1: engine: must be a table, not true; write [engine]`},
	{"engine incomplete", "\n[engine]\n", `2:2: engine.cylinders: missing; must be a whole number, 1 to 16
2:2: engine.strokes: missing; must be 2 or 4
2:2: engine.idle_rpm: missing; must be a number, 100 to 20000 rpm
2:2: engine.redline_rpm: missing; must be a number, 200 to 30000 rpm`},
	{"strokes", "[engine]\ncylinders = 2\nstrokes = 3\nidle_rpm = 1600\nredline_rpm = 8200\n", `3:1: engine.strokes: must be 2 or 4, not 3`},
	{"strokes as float", "[engine]\ncylinders = 2\nstrokes = 2.0\nidle_rpm = 1600\nredline_rpm = 8200\n", `3:1: engine.strokes: must be 2 or 4, not 2`},
	{"cylinders", "[engine]\ncylinders = 17\nstrokes = 2\nidle_rpm = 1600\nredline_rpm = 8200\n", `2:1: engine.cylinders: must be 1 to 16, not 17`},
	{"idle above redline", "[engine]\ncylinders = 2\nstrokes = 2\nidle_rpm = 8200\nredline_rpm = 8200\n", `5:1: engine.redline_rpm: must be above idle_rpm (8200), not 8200`},
	{"not finite", "[engine]\ncylinders = 2\nstrokes = 2\nidle_rpm = nan\nredline_rpm = -inf\n", `4:1: engine.idle_rpm: must be a finite number, 100 to 20000 rpm, not NaN
5:1: engine.redline_rpm: must be a finite number, 200 to 30000 rpm, not -Inf`},
	{"angles count", engineKeys + "firing_angles = [0]\n", `6:1: engine.firing_angles: 1 firing angles for 2 cylinders; one angle per cylinder, ascending, in one engine cycle`},
	{"no angles", engineKeys + "firing_angles = []\n", `6:1: engine.firing_angles: 0 firing angles for 2 cylinders; one angle per cylinder, ascending, in one engine cycle`},
	{"angles beyond the cycle", engineKeys + "firing_angles = [0, 360]\n", `6:1: engine.firing_angles: firing angle 360 is outside 0..360 degrees; one angle per cylinder, ascending, in one engine cycle`},
	{"angles fall", engineKeys + "firing_angles = [180, 0]\n", `6:1: engine.firing_angles: firing angles must ascend; one angle per cylinder, ascending, in one engine cycle`},
	{"angle as text", engineKeys + "firing_angles = [\n  0,\n  '180',\n]\n", `8:3: engine.firing_angles[2]: must be a number, 0 to 720 degrees, not the text "180"`},
	{"angle alone", engineKeys + "firing_angles = 180\n", `6:1: engine.firing_angles: must be a list of crank degrees in brackets, not 180`},
	{"crank range", engineKeys + "[engine.crank]\nrise_s = 0\nfall_s = -1\nlag_s = 6\nidle_wander_rpm = 2001\nidle_settle_s = 0\nlimiter_drop_rpm = -1\nlimiter_hz = 0\n", `7:1: engine.crank.rise_s: must be 0.05 to 60 s, not 0
8:1: engine.crank.fall_s: must be 0.05 to 120 s, not -1
9:1: engine.crank.lag_s: must be 0 to 5 s, not 6
10:1: engine.crank.idle_wander_rpm: must be 0 to 2000 rpm, not 2001
11:1: engine.crank.idle_settle_s: must be 0.01 to 60 s, not 0
12:1: engine.crank.limiter_drop_rpm: must be 0 to 5000 rpm, not -1
13:1: engine.crank.limiter_hz: must be 0.5 to 100 Hz, not 0`},
	{"crank key", engineKeys + "[engine.crank]\nrises = 1\n", `7:1: engine.crank.rises: unknown key; did you mean rise_s?`},
	{"preset", engineKeys + "crank.preset = 7\n", `6:7: engine.crank.preset: must be text in quotes, not 7`},
	{"recording not a list", engineKeys + "[engine.recording]\nfile = 'empty.wav'\n", `6:9: engine.recording: must be a list of tables, not a table; write [[engine.recording]]`},
	{"recording no table", engineKeys + "recording = ['empty.wav']\n", `6:14: engine.recording[1]: must be a table, not the text "empty.wav"; write [[engine.recording]]`},
	{"recording without file", engineKeys + "[[engine.recording]]\nfile='empty.wav'\n[[engine.recording]]\nrpm = 2000\n", `8:10: engine.recording[2].file: missing; must be a recording, relative to the sheet`},
	{"load", engineKeys + "[[engine.recording]]\nfile='empty.wav'\nload = 1.5\n", `8:1: engine.recording[1].load: must be 0 to 1, not 1.5`},
	{"rpm", engineKeys + "[[engine.recording]]\nfile='empty.wav'\nrpm = 2\n", `8:1: engine.recording[1].rpm: must be 60 to 30000 rpm, not 2`},
	{"rpm and rpm_to", engineKeys + "[[engine.recording]]\nfile='empty.wav'\nrpm = 2000\nrpm_to = 3000\n", `9:1: engine.recording[1].rpm_to: does not go with rpm; rpm is for a steady hold, rpm_from and rpm_to are for a pull`},
	{"pull that stands", engineKeys + "[[engine.recording]]\nfile='empty.wav'\nrpm_from = 3000\nrpm_to = 3000\n", `9:1: engine.recording[1].rpm_to: must differ from rpm_from (3000); for a steady hold write rpm`},
	{"recording by pattern", engineKeys + "[[engine.recording]]\nfile='engine/*.wav'\n", `7:1: engine.recording[1].file: "engine/*.wav" does not exist; one file is wanted here, not a pattern`},
	{"recording as number", engineKeys + "[[engine.recording]]\nfile=1\n", `7:1: engine.recording[1].file: must be a file in quotes, not 1`},

	// Categories and their files.
	{"category no table", "category.callout = 'x'\n", `1:10: category.callout: must be a table, not the text "x"; write [category.callout]`},
	{"category as list", "[[category.callout]]\nfiles = ['empty.wav']\n", `1:12: category.callout: must be a table, not a list; write [category.callout]`},
	{"category as one list", "[[category]]\nfiles = ['empty.wav']\n", `1:3: category: must be a table, not a list; write [category.NAME]`},
	{"category without name", "[category.'']\nfiles = ['empty.wav']\n", `1:11: category."": a category needs a name of one line`},
	{"category without files", "[category.callout]\npriority = 1\n", `1:11: category.callout.files: missing; must be a list of files or patterns, for example ["callout/*.wav"]`},
	{"category empty", "[category.callout]\nfiles = []\n", `2:1: category.callout.files: names no file; leave it out or list files or patterns`},
	{"files no list", "[category.callout]\nfiles = 'empty.wav'\n", `2:1: category.callout.files: must be a list of files or patterns in brackets, not the text "empty.wav"`},
	{"files of numbers", "[category.callout]\nfiles = [\n1]\n", `3:1: category.callout.files[1]: must be a file or pattern in quotes, not 1`},
	{"luffs", "[category.callout]\nfiles = ['empty.wav']\ntarget_luffs = -19\n", `3:1: category.callout.target_luffs: unknown key; did you mean target_lufs?`},
	{"target", "[category.callout]\nfiles = ['empty.wav']\ntarget_lufs = 19\n", `3:1: category.callout.target_lufs: must be -70 to 0 LUFS, not 19`},
	{"tolerance", "[category.callout]\nfiles = ['empty.wav']\ntolerance_lu = 0\n", `3:1: category.callout.tolerance_lu: must be 0.1 to 20 LU, not 0`},
	{"priority", "[category.callout]\nfiles = ['empty.wav']\npriority = 1.5\n", `3:1: category.callout.priority: must be a whole number, 0 to 100, not 1.5`},
	{"priority negative", "[category.callout]\nfiles = ['empty.wav']\npriority = -1\n", `3:1: category.callout.priority: must be 0 to 100, not -1`},
	{"limit", "[category.callout]\nfiles = ['empty.wav']\n[category.callout.limits]\ndc = 'none'\nhum_db = nan\n", `4:1: category.callout.limits.dc: must be a number, not the text "none"
5:1: category.callout.limits.hum_db: must be a finite number, not NaN`},
	{"two categories", "[category.callout]\nfiles = ['callouts/*.wav']\n[category.effect]\nfiles = ['empty.wav', 'callouts/t-*']\n", `4:23: category.effect.files[2]: "callouts/t-go.wav" belongs to category "callout" already; a file may be in one category only`},
	{"absolute", "category.x.files = ['/etc/passwd']\n", `1:21: category.x.files[1]: "/etc/passwd" is absolute; write it relative to the sheet's folder`},
	{"drive", "category.x.files = ['C:/x.wav']\n", `1:21: category.x.files[1]: "C:/x.wav" is absolute; write it relative to the sheet's folder`},
	{"backslash", "category.x.files = ['callouts\\*.wav']\n", `1:21: category.x.files[1]: "callouts\\*.wav" has backslashes; use forward slashes: "callouts/*.wav"`},
	{"leaves", "category.x.files = ['callouts/../../x.wav']\n", `1:21: category.x.files[1]: "callouts/../../x.wav" leaves the sheet's folder; keep every file below it`},
	{"leaves by pattern", "category.x.files = ['**/../music/*']\n", `1:21: category.x.files[1]: "**/../music/*" has .. in a pattern; write the folder itself`},
	{"leaves by braces", "category.x.files = ['{../x,callouts}/*.wav']\n", `1:21: category.x.files[1]: "{../x,callouts}/*.wav" has .. in a pattern; write the folder itself`},
	{"empty path", "category.x.files = ['']\n", `1:21: category.x.files[1]: must not be empty; name a file below the sheet's folder`},
	{"zero byte", "category.x.files = [\"a\\u0000\"]\n", `1:21: category.x.files[1]: must not contain a zero byte`},
	{"folder", "category.x.files = ['callouts']\n", `1:21: category.x.files[1]: "callouts" is a folder; name a file in it, or "callouts/*.wav" in a list of files`},
	{"folder with slash", "category.x.files = ['callouts/']\n", `1:21: category.x.files[1]: "callouts/" is a folder; name a file in it, or "callouts/*.wav" in a list of files`},
	{"missing file", "category.x.files = ['callouts/cacth-it.wav']\n", `1:21: category.x.files[1]: "callouts/cacth-it.wav" does not exist; did you mean "callouts/catch-it.wav"?`},
	{"case", "category.x.files = ['callouts/ready.wav']\n", `1:21: category.x.files[1]: "callouts/ready.wav" does not exist; did you mean "callouts/Ready.wav"?`},
	{"missing folder", "category.x.files = ['calouts/a.wav']\n", `1:21: category.x.files[1]: "calouts/a.wav" does not exist; there is no folder "calouts"`},
	{"file as folder", "category.x.files = ['empty.wav/a.wav']\n", `1:21: category.x.files[1]: "empty.wav/a.wav" does not exist; there is no folder "empty.wav"`},
	{"no match", "category.x.files = ['music/*.wav']\n", `1:21: category.x.files[1]: "music/*.wav" matches no file; the folder "music" holds "main.ogg"`},
	{"no match of many", "category.x.files = ['*.flac']\n", `1:21: category.x.files[1]: "*.flac" matches no file; the sheet's folder holds "cab.csv" and 1 more`},
	{"no folder to match", "category.x.files = ['calouts/*.wav']\n", `1:21: category.x.files[1]: "calouts/*.wav" matches no file; there is no folder "calouts"`},
	{"bad pattern", "category.x.files = ['callouts/[a.wav']\n", `1:21: category.x.files[1]: "callouts/[a.wav" is not a pattern; check its brackets and braces`},
	{"long pattern", "category.x.files = ['" + strings.Repeat("{a,b}", 200) + "']\n", `1:21: category.x.files[1]: is longer than 512 bytes`},
	{"stand-in", "category.x.stand_in = ['x/*']\n", `1:24: category.x.stand_in[1]: "x/*" matches no file; there is no folder "x"`},

	{"one word without a file", "category.callout.files = ['callouts/*.wav']\ncategory.callout.one_word = ['callouts/x-*']\n", `2:30: category.callout.one_word[1]: "callouts/x-*" matches no file; the folder "callouts" holds ".hidden.wav" and 4 more`},
	{"one word from elsewhere", "category.callout.files = ['callouts/*.wav']\ncategory.callout.one_word = ['callouts/t-go.wav', 'music/*.ogg']\n", `2:51: category.callout.one_word[2]: "music/main.ogg" is not among the files of this category; name it in files or stand_in too`},
	{"one word of an effect", "category.effect.files = ['callouts/*.wav']\ncategory.effect.one_word = ['callouts/t-go.wav']\n", `2:17: category.effect.one_word: says which callouts are a single word, and these are not callouts; write it under [category.callout]`},
	{"one word no list", "category.callout.files = ['callouts/*.wav']\ncategory.callout.one_word = true\n", `2:18: category.callout.one_word: must be a list of files or patterns in brackets, not true`},

	// Listening.
	{"listening incomplete", "[listening]\n", `1:2: listening.level_at_ear_db: missing; must be a number, 40 to 120 dB SPL
1:2: listening.noise_dba: missing; must be a number, 20 to 120 dB(A)`},
	{"listening range", "[listening]\nlevel_at_ear_db = 0\nnoise_dba = 130\nspeaker_low_cut_hz = 5\n", `2:1: listening.level_at_ear_db: must be 40 to 120 dB SPL, not 0
3:1: listening.noise_dba: must be 20 to 120 dB(A), not 130
4:1: listening.speaker_low_cut_hz: must be 10 to 2000 Hz, not 5`},
	{"noise name", listeningKeys + "noise_shape = 'crowds'\n", `4:1: listening.noise_shape: must be crowd, pink, flat or 18 third-octave offsets in dB, not "crowds"; did you mean crowd?`},
	{"noise number", listeningKeys + "noise_shape = 1\n", `4:1: listening.noise_shape: must be crowd, pink, flat or 18 third-octave offsets in dB, not 1`},
	{"noise bands", listeningKeys + "noise_shape = " + offsets(17) + "\n", `4:1: listening.noise_shape: must be crowd, pink, flat or 18 third-octave offsets in dB (160 Hz to 8 kHz), not 17`},
	{"noise band", listeningKeys + "noise_shape = [1,2,3,\n99" + strings.Repeat(",0", 14) + "]\n", `5:1: listening.noise_shape[4]: must be -60 to 60 dB, not 99`},
	{"response missing", listeningKeys + "speaker_response = 'cab.csw'\n", `4:1: listening.speaker_response: "cab.csw" does not exist; did you mean "cab.csv"?`},
	{"response rows", listeningKeys + "speaker_response = 'curves/backwards.csv'\nspeaker_low_cut_hz = 1\n", `5:1: listening.speaker_low_cut_hz: must be 10 to 2000 Hz, not 1
curves/backwards.csv:4:1: listening.speaker_response: frequencies must ascend, but 100 Hz follows 100 Hz
curves/backwards.csv:5:1: listening.speaker_response: must be two numbers, hz,db, not "50,x"
curves/backwards.csv:6:1: listening.speaker_response: must be -120 to 60 dB, not 200`},
	{"response semicolons", listeningKeys + "speaker_response = 'curves/semicolon.csv'\n", `curves/semicolon.csv:1:1: listening.speaker_response: must be two numbers, hz,db, not "100;0"; separate the two with a comma, with a point in the numbers
curves/semicolon.csv:2:1: listening.speaker_response: must be two numbers, hz,db, not "200;1,5"; separate the two with a comma, with a point in the numbers`},
	{"response heading", listeningKeys + "speaker_response = 'curves/heading.csv'\n", `curves/heading.csv:1:1: listening.speaker_response: must be two numbers, hz,db, not "db,hz"
curves/heading.csv:2:1: listening.speaker_response: must be 1 to 100000 Hz, not 0`},
	{"response of one row", listeningKeys + "speaker_response = 'curves/one-row.csv'\n", `4:1: listening.speaker_response: "curves/one-row.csv" has 1 rows of hz,db; a response needs at least 2`},
	{"response not UTF-8", listeningKeys + "speaker_response = 'curves/latin1.csv'\n", `curves/latin1.csv:1:1: listening.speaker_response: is not UTF-8 text; expected rows of hz,db`},
	{"response not numbers", listeningKeys + "speaker_response = 'curves/not-numbers.csv'\n", `curves/not-numbers.csv:1:1: listening.speaker_response: must be two numbers, hz,db, not "nan,0"
curves/not-numbers.csv:2:1: listening.speaker_response: must be two numbers, hz,db, not "1_00,0"
curves/not-numbers.csv:3:1: listening.speaker_response: must be two numbers, hz,db, not "0x10,0"`},

	// Rev bands.
	{"band incomplete", "[[rev_band]]\n", `1:3: rev_band[1].name: missing; must be the band's name
1:3: rev_band[1].from_rpm: missing; must be a number, 0 to 30000 rpm
1:3: rev_band[1].to_rpm: missing; must be a number, 0 to 30000 rpm`},
	{"band upside down", "[[rev_band]]\nname = 'a'\nfrom_rpm = 5000\nto_rpm = 4000\n", `4:1: rev_band[1].to_rpm: must be above from_rpm (5000), not 4000`},
	{"bands overlap", "[[rev_band]]\nname = 'a'\nfrom_rpm = 4000\nto_rpm = 5000\n[[rev_band]]\nname = 'a'\nfrom_rpm = 4900\nto_rpm = 6000\n", `6:1: rev_band[2].name: "a" is the name of rev_band[1] already
7:1: rev_band[2].from_rpm: must not be below the end of the band before (5000), but is 4900; list the bands from idle upwards`},
	{"lamp", "[[rev_band]]\nname = 'a'\nfrom_rpm = 4000\nto_rpm = 5000\nlamp = 'yellow'\ncatch = 'yes'\n", `5:1: rev_band[1].lamp: must be a colour like "#c8a400", not "yellow"
6:1: rev_band[1].catch: must be true or false, not the text "yes"`},

	// Scenes.
	{"scene incomplete", "[[scene]]\n", `1:3: scene[1].name: missing; must be the scene's name
1:3: scene[1].length_s: missing; must be a number, 0.1 to 3600 s`},
	{"scenes of one name", "[[scene]]\nname = 'a'\nlength_s = 1\n[[scene]]\nname = 'a'\nlength_s = 1\n", `5:1: scene[2].name: "a" is the name of scene[1] already`},
	{"cue late", "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 11\nsound = 'empty.wav'\n", `5:1: scene[1].cue[1].at_s: must be 0 to 10 s, the length of the scene, not 11`},
	{"cue of nothing", "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 1\n", `4:9: scene[1].cue[1].sound: missing; a cue needs sound (a file) or engine (a curve file)`},
	{"cue of both", engineKeys + "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 1\nsound = 'empty.wav'\nengine = 'curves/launch.csv'\n", `12:1: scene[1].cue[1].engine: does not go with sound; a cue is one of the two; write a second [[scene.cue]]`},
	{"cue engine loops", engineKeys + "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 1\nloop = true\nengine = 'curves/launch.csv'\n", `11:1: scene[1].cue[1].loop: does not go with engine; only a sound can loop`},
	{"cue without engine", "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 1\nengine = 'curves/launch.csv'\n", `6:1: scene[1].cue[1].engine: the sheet has no [engine]`},
	{"cue file", "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat_s = 1\nsound = 'music/*.ogg'\n", `6:1: scene[1].cue[1].sound: "music/*.ogg" does not exist; one file is wanted here, not a pattern`},
	{"cue key", "[[scene]]\nname = 'a'\nlength_s = 10\n[[scene.cue]]\nat = 1\nsound = 'empty.wav'\n", `4:9: scene[1].cue[1].at_s: missing; must be a number, 0 to 10 s, the length of the scene
5:1: scene[1].cue[1].at: unknown key; did you mean at_s?`},
}

func TestBadSheets(t *testing.T) {
	dir := writePackage(t)
	for _, c := range badSheets {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("soundsheet.toml", []byte(c.text), dir)
			if err == nil {
				t.Fatal("no error")
			}
			var want []string
			for _, line := range strings.Split(c.want, "\n") {
				if !strings.HasPrefix(line, "curves/") {
					line = "soundsheet.toml:" + line
				}
				want = append(want, line)
			}
			if got, want := err.Error(), strings.Join(want, "\n"); got != want {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

func TestWarnings(t *testing.T) {
	const text = "sample_rate = 48000\nbit_depth = 16\n" + engineKeys + `[[rev_band]]
name = "low"
from_rpm = 500
to_rpm = 1600
[[rev_band]]
name = "touches both neighbours"
from_rpm = 1600
to_rpm = 8000
[[rev_band]]
name = "high"
from_rpm = 8000
to_rpm = 8300
`
	s, err := Parse("s.toml", []byte(text), writePackage(t))
	if err != nil {
		t.Fatal(err)
	}
	want := "s.toml:11:1: rev_band[1].to_rpm: the whole band lies below idle (1600 rpm)\n" +
		"s.toml:19:1: rev_band[3].to_rpm: 8300 is above the redline (8200 rpm)"
	if got := Errors(s.Warnings).Error(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestFlood: a sheet gone wrong as a whole is told in a bounded way.
func TestFlood(t *testing.T) {
	_, err := Parse("s.toml", []byte("category.x.files = ["+strings.Repeat("1,", 200000)+"]"), t.TempDir())
	if all := err.(Errors); len(all) != maxProblems {
		t.Errorf("%d problems", len(all))
	}
	deep := strings.Repeat("a.", 100000) + "a = 1"
	if n := len(newDocument([]byte(deep)).at); n > maxDepth {
		t.Fatalf("%d places kept for one deep key", n)
	}
	if _, err := Parse("s.toml", []byte(deep), t.TempDir()); err.(Errors)[0].Key != "a" {
		t.Errorf("got %v", err)
	}
}
