package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"tachbench/mixplan"
	"tachbench/mixplan/duck"
)

// DuckObject is one entry of [[ducking]] in JSON, with the keys of plan.toml.
type DuckObject struct {
	Under       string  `json:"under"`
	Category    string  `json:"category"`
	DepthDB     Number  `json:"depth_db"`
	AttackMS    Number  `json:"attack_ms"`
	HoldMS      Number  `json:"hold_ms"`
	ReleaseMS   Number  `json:"release_ms"`
	LookaheadMS Number  `json:"lookahead_ms"`
	DipLowHz    *Number `json:"dip_low_hz,omitempty"`
	DipHighHz   *Number `json:"dip_high_hz,omitempty"`
}

// NewDuckObject gives the JSON shape of a duck.
func NewDuckObject(d mixplan.Duck) DuckObject {
	o := DuckObject{Under: d.Under, Category: d.Category, DepthDB: Round(d.DepthDB, 2), AttackMS: Round(d.AttackMS, 1), HoldMS: Round(d.HoldMS, 1),
		ReleaseMS: Round(d.ReleaseMS, 1), LookaheadMS: Round(d.LookaheadMS, 1)}
	if d.Dip != nil {
		low, high := Round(d.Dip.LowHz, 1), Round(d.Dip.HighHz, 1)
		o.DipLowHz, o.DipHighHz = &low, &high
	}
	return o
}

type vectorObject struct {
	Name   string         `json:"name"`
	Shows  string         `json:"shows"`
	RateHz int            `json:"sample_rate_hz"`
	Rules  []DuckObject   `json:"ducking"`
	Speech []speechObject `json:"speech"`
	Points []pointObject  `json:"points"`
}

type speechObject struct {
	Category string `json:"category"`
	FromS    Number `json:"from_s"`
	ToS      Number `json:"to_s"`
}

type pointObject struct {
	Frame   int64  `json:"frame"`
	BroadDB Number `json:"attenuation_db"`
	DipDB   Number `json:"dip_db"`
}

type dipObject struct {
	RateHz    int         `json:"sample_rate_hz"`
	LowHz     Number      `json:"dip_low_hz"`
	HighHz    Number      `json:"dip_high_hz"`
	DeepestDB Number      `json:"deepest_db"`
	DepthDB   Number      `json:"depth_db"`
	B0        Number      `json:"b0"`
	A1        Number      `json:"a1"`
	A2        Number      `json:"a2"`
	Response  [][2]Number `json:"response_hz_db"`
	Impulse   []Number    `json:"impulse"`
}

// VectorsJSON gives the document of `mix --vectors`: the law in words, and
// cases to check an implementation with, one a line.
func VectorsJSON(cases []duck.Vector, dips []duck.DipVector) ([]byte, error) {
	var lines, dipLines [][]byte
	for _, v := range cases {
		o := vectorObject{Name: v.Name, Shows: v.Shows, RateHz: v.RateHz}
		for _, r := range v.Rules {
			o.Rules = append(o.Rules, NewDuckObject(r))
		}
		for _, s := range v.Speech {
			o.Speech = append(o.Speech, speechObject{s.Category, Number(s.FromS), Number(s.ToS)})
		}
		for _, p := range v.Points {
			o.Points = append(o.Points, pointObject{p.Frame, Round(p.BroadDB, 9), Round(p.DipDB, 9)})
		}
		b, err := json.Marshal(o)
		if err != nil {
			return nil, err
		}
		lines = append(lines, b)
	}
	for _, v := range dips {
		o := dipObject{v.RateHz, Number(v.Dip.LowHz), Number(v.Dip.HighHz), Number(v.DeepestDB), Number(v.DepthDB), Number(v.B0), Number(v.A1), Number(v.A2), nil, nil}
		for i, hz := range v.Hz {
			o.Response = append(o.Response, [2]Number{Number(hz), Round(v.GainDB[i], 9)})
		}
		for _, x := range v.Impulse {
			o.Impulse = append(o.Impulse, Round(x, 12))
		}
		b, err := json.Marshal(o)
		if err != nil {
			return nil, err
		}
		dipLines = append(dipLines, b)
	}
	law, err := json.MarshalIndent(strings.Split(strings.TrimSpace(duck.Law()), "\n"), "", " ")
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "{\"version\":%d,\"law\":%s,\n\"tolerance_db\":1e-6,\n\"cases\":[\n%s],\n\"dips\":[\n%s]}\n", Version, law, bytes.Join(lines, []byte(",\n")), bytes.Join(dipLines, []byte(",\n")))
	return b.Bytes(), nil
}
