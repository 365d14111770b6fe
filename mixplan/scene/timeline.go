package scene

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"tachbench/mixplan"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// Uncategorised is the category of sounds that are in none.
const Uncategorised = "uncategorised"

// Timeline is a scene laid out at the machine's rate. It does not change once
// made and may be rendered many times.
type Timeline struct {
	Name     string
	RateHz   int
	Frames   int64
	Events   []Event // by time; at the same time in the order of the sheet
	Warnings []error // one line each

	order []string
}

// Event is one cue: a clip, or the engine along a curve.
type Event struct {
	Key      string // of the cue, for Sheet.Errorf
	Category string
	Path     string // the file, relative to the sheet
	At, End  int64  // frames; End is exclusive and within the scene
	Loop     bool
	Clip     *Clip        // nil for the engine
	Curve    *curve.Curve // nil for a clip; its time 0 is frame At
	Active   []Span       // when it speaks, seconds from the start of the scene
}

// Build lays out the scene of a name. Every problem is placed in the sheet;
// the error is a sheet.Errors.
func Build(sh *sheet.Sheet, lib *Library, name string) (*Timeline, error) {
	sc, err := find(sh, name)
	if err != nil {
		return nil, err
	}
	t := &Timeline{Name: sc.Name, RateHz: sh.SampleRateHz, Frames: frameAt(sc.LengthS, sh.SampleRateHz)}
	home := map[string]string{}
	for _, c := range sh.Categories {
		t.order = append(t.order, c.Name)
		for _, f := range c.Files {
			home[f.Rel] = c.Name
		}
	}
	t.order = append(t.order, mixplan.Engine, Uncategorised)
	var errs sheet.Errors
	said := map[string]bool{}
	for _, q := range sc.Cues {
		e := Event{Key: q.Key, At: min(frameAt(q.AtS, t.RateHz), t.Frames), Loop: q.Loop}
		if q.Curve != nil {
			c, err := readCurve(*q.Curve)
			if err != nil {
				errs = append(errs, sh.Errorf(q.Key+".engine", "%s", err))
				continue
			}
			e.Category, e.Path, e.Curve = mixplan.Engine, q.Curve.Rel, c
			e.End = e.At + frameAt(c.DurationS(), t.RateHz)
		} else {
			c, err := lib.Clip(*q.Sound)
			if err != nil {
				errs = append(errs, sh.Errorf(q.Key+".sound", "%s: %s", q.Sound.Rel, err))
				continue
			}
			if !said[c.Path.Rel] {
				said[c.Path.Rel] = true
				t.Warnings = append(t.Warnings, c.Warnings...)
			}
			e.Category, e.Path, e.Clip = cmp.Or(home[c.Path.Rel], Uncategorised), c.Path.Rel, c
			if e.End = e.At + frameAt(c.Sound.DurationS(), t.RateHz); q.Loop {
				e.End = t.Frames
			}
		}
		if e.End > t.Frames {
			t.Warnings = append(t.Warnings, sh.Errorf(q.Key+".at_s", "%s is cut off by the end of the scene, %.2f s before its own", e.Path, float64(e.End-t.Frames)/float64(t.RateHz)))
			e.End = t.Frames
		}
		t.Events = append(t.Events, e)
	}
	if len(errs) > 0 {
		return nil, errs
	}
	slices.SortStableFunc(t.Events, func(a, b Event) int { return cmp.Compare(a.At, b.At) })
	t.oneEngine()
	for i := range t.Events {
		t.Events[i].speak(t.RateHz)
	}
	return t, nil
}

// find returns the scene of a name.
func find(sh *sheet.Sheet, name string) (*sheet.Scene, error) {
	var names []string
	for i := range sh.Scenes {
		if sh.Scenes[i].Name == name {
			return &sh.Scenes[i], nil
		}
		names = append(names, strconv.Quote(sh.Scenes[i].Name))
	}
	e := &sheet.Error{File: sh.File, Text: "no scene is called " + strconv.Quote(name), Hint: "it has " + strings.Join(names, ", ")}
	if len(names) == 0 {
		e.Text, e.Hint = "there is no scene in this sheet", "a mix needs a [[scene]] with a name, length_s and cues"
	}
	return nil, sheet.Errors{e}
}

func readCurve(p sheet.Path) (*curve.Curve, error) {
	f, err := os.Open(p.Abs)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be read", p.Rel)
	}
	defer f.Close()
	return curve.Parse(p.Rel, f, 1)
}

func frameAt(tS float64, rateHz int) int64 { return int64(math.Round(tS * float64(rateHz))) }

// oneEngine ends each curve where the next one begins.
func (t *Timeline) oneEngine() {
	last := -1
	for i := range t.Events {
		if t.Events[i].Curve == nil {
			continue
		}
		if last >= 0 {
			t.Events[last].End = min(t.Events[last].End, t.Events[i].At)
		}
		last = i
	}
}

// speak finds when an event speaks in the scene.
func (e *Event) speak(rateHz int) {
	from, end := float64(e.At)/float64(rateHz), float64(e.End)/float64(rateHz)
	switch {
	case e.End <= e.At:
	case e.Curve != nil:
		e.Active = []Span{{from, end}}
	case e.Loop && len(e.Clip.Active) > 0:
		// What repeats without an end is there all the time.
		e.Active = []Span{{math.Min(from+e.Clip.Active[0].FromS, end), end}}
	default:
		for _, a := range e.Clip.Active {
			if s := (Span{from + a.FromS, math.Min(from+a.ToS, end)}); s.ToS > s.FromS {
				e.Active = append(e.Active, s)
			}
		}
	}
}

// Categories returns the categories that sound, in the order of the sheet, the
// engine after its files' categories if it has none of its own, and
// Uncategorised last.
func (t *Timeline) Categories() []string {
	var out []string
	for _, name := range t.order {
		if slices.Contains(out, name) {
			continue
		}
		if slices.ContainsFunc(t.Events, func(e Event) bool { return e.Category == name }) {
			out = append(out, name)
		}
	}
	return out
}

// HasEngine reports whether an engine is needed to render the scene.
func (t *Timeline) HasEngine() bool {
	return slices.ContainsFunc(t.Events, func(e Event) bool { return e.Curve != nil })
}

// Stereo reports whether a clip of the scene has two channels.
func (t *Timeline) Stereo() bool {
	return slices.ContainsFunc(t.Events, func(e Event) bool { return e.Clip != nil && e.Clip.Sound.Channels() == 2 })
}
