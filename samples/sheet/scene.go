package sheet

import (
	"regexp"
	"strconv"
)

// RevBand is one entry of [[rev_band]].
type RevBand struct {
	Key            string // for Sheet.Errorf
	Name           string
	FromRPM, ToRPM float64 // 0..30000, FromRPM < ToRPM
	Catch          bool    // the band to be caught
	Lamp           string  // #rrggbb as written, "" if not given
}

// RGB returns the lamp's colour; ok is false if none is given.
func (b RevBand) RGB() (r, g, blue uint8, ok bool) {
	if b.Lamp == "" {
		return 0, 0, 0, false
	}
	n, err := strconv.ParseUint(b.Lamp[1:], 16, 32)
	return uint8(n >> 16), uint8(n >> 8), uint8(n), err == nil
}

// Scene is one entry of [[scene]].
type Scene struct {
	Key     string // for Sheet.Errorf
	Name    string
	LengthS float64 // 0.1..3600
	Cues    []Cue   // in the order of the sheet
}

// Cue is one entry of [[scene.cue]]: a sound or an engine curve, not both.
type Cue struct {
	Key   string  // for Sheet.Errorf
	AtS   float64 // 0..LengthS of the scene
	Sound *Path   // nil if it is a curve
	Loop  bool    // repeat the sound to the end of the scene
	Curve *Path   // the key engine: a CSV file of time_s,rpm[,load] rows; its content is not checked here
}

var lampColour = regexp.MustCompile(`^#[0-9a-fA-F]{6}$`)

func (d *decoder) revBands(tables []*table, e *Engine) []RevBand {
	var out []RevBand
	for _, t := range tables {
		rpm := limits{0, 30000, "rpm"}
		b := RevBand{
			Key:   t.key,
			Name:  t.needText("name", "the band's name"),
			Catch: t.flag("catch"),
			Lamp:  t.text("lamp"),
		}
		if b.Lamp != "" && !lampColour.MatchString(b.Lamp) {
			t.fail(t.sub("lamp"), `must be a colour like "#c8a400", not `+quote(b.Lamp), "")
		}
		from, to := t.needFloat("from_rpm", rpm), t.needFloat("to_rpm", rpm)
		t.done()
		b.FromRPM, b.ToRPM = or(from, 0), or(to, 0)
		if from != nil && to != nil {
			if b.FromRPM >= b.ToRPM {
				t.fail(t.sub("to_rpm"), "must be above from_rpm ("+number(b.FromRPM)+"), not "+number(b.ToRPM), "")
			}
			t.bandReach(b, e)
		}
		for i, other := range out {
			if b.Name != "" && other.Name == b.Name {
				t.fail(t.sub("name"), quote(b.Name)+" is the name of "+other.Key+" already", "")
			}
			if i == len(out)-1 && from != nil && b.FromRPM < other.ToRPM {
				t.fail(t.sub("from_rpm"), "must not be below the end of the band before ("+number(other.ToRPM)+"), but is "+number(b.FromRPM), "list the bands from idle upwards")
			}
		}
		out = append(out, b)
	}
	return out
}

// bandReach warns of a band that the engine does not fully reach.
func (t *table) bandReach(b RevBand, e *Engine) {
	if e == nil || e.IdleRPM == 0 || e.RedlineRPM == 0 {
		return
	}
	switch {
	case b.ToRPM <= e.IdleRPM:
		t.warn(t.sub("to_rpm"), "the whole band lies below idle ("+number(e.IdleRPM)+" rpm)", "")
	case b.ToRPM > e.RedlineRPM:
		t.warn(t.sub("to_rpm"), number(b.ToRPM)+" is above the redline ("+number(e.RedlineRPM)+" rpm)", "")
	}
}

func (d *decoder) scenes(tables []*table, categories []Category, hasEngine bool) []Scene {
	known := map[string]bool{}
	for _, c := range categories {
		for _, f := range c.Files {
			known[f.Rel] = true
		}
	}
	var out []Scene
	for _, t := range tables {
		s := Scene{Key: t.key, Name: t.needText("name", "the scene's name")}
		for _, other := range out {
			if s.Name != "" && other.Name == s.Name {
				t.fail(t.sub("name"), quote(s.Name)+" is the name of "+other.Key+" already", "")
			}
		}
		length := limits{0.1, 3600, "s"}
		s.LengthS = or(t.needFloat("length_s", length), length.hi)
		for _, ct := range t.children("cue") {
			// Without its file there is nothing to play.
			if c := ct.cue(s.LengthS, known, hasEngine); c.Sound != nil || c.Curve != nil {
				s.Cues = append(s.Cues, c)
			}
		}
		t.done()
		out = append(out, s)
	}
	return out
}

func (t *table) cue(lengthS float64, known map[string]bool, hasEngine bool) Cue {
	c := Cue{
		Key:   t.key,
		AtS:   or(t.needFloat("at_s", limits{0, lengthS, "s, the length of the scene"}), 0),
		Sound: t.file("sound"),
		Loop:  t.flag("loop"),
		Curve: t.file("engine"),
	}
	switch {
	case t.has("sound") && t.has("engine"):
		t.fail(t.sub("engine"), "does not go with sound", "a cue is one of the two; write a second [[scene.cue]]")
	case t.has("engine"):
		if t.has("loop") {
			t.fail(t.sub("loop"), "does not go with engine", "only a sound can loop")
		}
		if !hasEngine {
			t.fail(t.sub("engine"), "the sheet has no [engine]", "")
		}
	case !t.has("sound"):
		t.fail(t.sub("sound"), "missing", "a cue needs sound (a file) or engine (a curve file)")
	}
	if c.Sound != nil && !known[c.Sound.Rel] {
		t.warn(t.sub("sound"), quote(c.Sound.Rel)+" is in no category", "it has neither a target nor a priority")
	}
	t.done()
	return c
}
