package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// maxMessage is the longest message taken from a browser, in bytes.
const maxMessage = 4096

// control is one message from the browser, checked: every field that do needs
// is there. Levels, revs and the lever are held to their ranges.
type control struct {
	do       string
	take     bool    // start: also from another tab
	again    bool    // start: the same page after a lost line
	frames   int64   // played: frames consumed since start
	underrun int64   // played: underruns since start
	value    float64 // lever, 0..1
	rpm      float64 // slide
	load     float64 // slide, 0..1
	seq      uint32  // lever, slide
	drive    string  // drive: scene, lever or slider
	scene    string  // play
	callout  int     // meet
	step     int     // meet
	on       bool    // play (loop), loop, planned, mute, solo, hall, cabinet
	category string  // fader, mute, solo
	db       float64 // fader, volume
}

// message is what may stand in the JSON.
type message struct {
	Do        string   `json:"do"`
	Take      bool     `json:"take"`
	Again     bool     `json:"again"`
	Frames    *int64   `json:"frames"`
	Underruns *int64   `json:"underruns"`
	Value     *float64 `json:"value"`
	Seq       *uint32  `json:"seq"`
	RPM       *float64 `json:"rpm"`
	Load      *float64 `json:"load"`
	By        *string  `json:"by"`
	Scene     *string  `json:"scene"`
	Loop      bool     `json:"loop"`
	Callout   *int     `json:"callout"`
	Step      *int     `json:"step"`
	On        *bool    `json:"on"`
	Category  *string  `json:"category"`
	LevelDB   *float64 `json:"level_db"`
	DB        *float64 `json:"db"`
}

// Ranges that values are held to.
const (
	maxRPM                   = 30000 // as in the sound sheet
	minFaderDB, maxFaderDB   = -60, 12
	minVolumeDB, maxVolumeDB = -60, 0
	maxFrames                = 1 << 53 // exact in the browser's numbers
)

// Who may work the engine.
const (
	byScene  = "scene"
	byLever  = "lever"
	bySlider = "slider"
)

// parseControl reads one message. The error is short enough to be the reason
// of a closed socket, and holds nothing that the browser sent.
func parseControl(text []byte) (control, error) {
	var m message
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return control{}, errors.New("not a message this page sends")
	}
	if _, err := d.Token(); err != io.EOF {
		return control{}, errors.New("more than one JSON value in a message")
	}
	c := control{do: m.Do, take: m.Take, again: m.Again}
	var missing []string
	switch m.Do {
	case "start", "pause", "stop", "silence", "reset":
	case "played":
		c.frames, c.underrun = need(m.Frames, "frames", &missing), need(m.Underruns, "underruns", &missing)
		if c.frames < 0 || c.frames > maxFrames || c.underrun < 0 || c.underrun > maxFrames {
			return control{}, errors.New("played: frames or underruns out of range")
		}
	case "lever":
		c.value = within(need(m.Value, "value", &missing), 0, 1)
		c.seq = need(m.Seq, "seq", &missing)
	case "slide":
		c.rpm = within(need(m.RPM, "rpm", &missing), 1, maxRPM)
		c.load = within(need(m.Load, "load", &missing), 0, 1)
		c.seq = need(m.Seq, "seq", &missing)
	case "drive":
		c.drive = need(m.By, "by", &missing)
		if c.drive != byScene && c.drive != byLever && c.drive != bySlider && len(missing) == 0 {
			return control{}, errors.New("drive: by must be scene, lever or slider")
		}
	case "play":
		c.scene, c.on = need(m.Scene, "scene", &missing), m.Loop
	case "meet":
		c.callout, c.step = need(m.Callout, "callout", &missing), need(m.Step, "step", &missing)
	case "loop", "planned", "hall", "cabinet":
		c.on = need(m.On, "on", &missing)
	case "fader":
		c.category = need(m.Category, "category", &missing)
		c.db = within(need(m.LevelDB, "level_db", &missing), minFaderDB, maxFaderDB)
	case "mute", "solo":
		c.category, c.on = need(m.Category, "category", &missing), need(m.On, "on", &missing)
	case "volume":
		c.db = within(need(m.DB, "db", &missing), minVolumeDB, maxVolumeDB)
	default:
		return control{}, errors.New("unknown or missing \"do\"")
	}
	if len(missing) > 0 {
		return control{}, fmt.Errorf("%s: %s is missing", m.Do, strings.Join(missing, ", "))
	}
	return c, nil
}

// need returns a field that must be there, or notes that it is not.
func need[T any](field *T, name string, missing *[]string) (v T) {
	if field == nil {
		*missing = append(*missing, name)
		return v
	}
	return *field
}

func within(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
