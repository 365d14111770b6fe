package page

import (
	"encoding/json"
	"fmt"
	"sync"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/scene"
	"tachbench/mixplan/solve"
	"tachbench/samples/sheet"
)

// Plan is what the page shows and plays of a plan.
type Plan struct {
	Plan *mixplan.Plan
	Map  Map
	// Meeting lays out a meeting of a callout of the map with the machine at a
	// step of its revs.
	Meeting func(callout, step int) (*scene.Timeline, error)
}

// Map is callouts over the engine's revs. Without an engine it has no steps.
type Map struct {
	RPM      []float64
	Callouts []MapCallout
}

// MapCallout is one callout of the map; indices are NaN without speech.
type MapCallout struct {
	Path                 string
	SIIPlain, SIIPlanned float64 // in nine of ten meetings
	LimitedBy, Sentence  string
	Plain, Planned       []float64 // at each step
}

// PlanOf takes from a report what the page needs.
func PlanOf(r *solve.Report, sh *sheet.Sheet, lib *scene.Library) Plan {
	p := Plan{Plan: r.Plan, Map: Map{RPM: report.PlanRPM(r)}}
	for i := range r.Callouts {
		c := &r.Callouts[i]
		m := MapCallout{Path: c.Sound.Path, SIIPlain: c.Plain.P10, SIIPlanned: c.Planned.P10, LimitedBy: c.LimitedBy, Sentence: c.Sentence}
		if len(p.Map.RPM) > 0 {
			m.Plain, m.Planned = c.StepsPlain, c.StepsPlanned
		}
		p.Map.Callouts = append(p.Map.Callouts, m)
	}
	p.Meeting = func(callout, step int) (*scene.Timeline, error) {
		return r.MeetingTimeline(r.Package, sh, lib, callout, step)
	}
	return p
}

type mapJSON struct {
	RPM      []report.Number  `json:"rpm"`
	Callouts []mapCalloutJSON `json:"callouts"`
}

type mapCalloutJSON struct {
	Path       string          `json:"path"`
	SIIPlain   report.Number   `json:"sii_plain"`
	SIIPlanned report.Number   `json:"sii_planned"`
	LimitedBy  string          `json:"limited_by"`
	Sentence   string          `json:"sentence"`
	Plain      []report.Number `json:"plain"`
	Planned    []report.Number `json:"planned"`
}

func (m Map) json() ([]byte, error) {
	out := mapJSON{RPM: rounded(m.RPM, 0), Callouts: []mapCalloutJSON{}}
	for _, c := range m.Callouts {
		out.Callouts = append(out.Callouts, mapCalloutJSON{
			c.Path, report.Round(c.SIIPlain, 3), report.Round(c.SIIPlanned, 3), c.LimitedBy, c.Sentence,
			rounded(c.Plain, 3), rounded(c.Planned, 3),
		})
	}
	return json.Marshal(out)
}

func rounded(v []float64, decimals int) []report.Number {
	out := make([]report.Number, len(v))
	for i := range v {
		out[i] = report.Round(v[i], decimals)
	}
	return out
}

// planJSON is the message "plan".
type planJSON struct {
	Kind  string `json:"kind"`
	Ready bool   `json:"ready"`
	Doing string `json:"doing"`
	Done  int    `json:"done"`
	All   int    `json:"all"`
	Error string `json:"error"`
}

// planning is how far the plan is. Sockets look at it when they send a state,
// so that quick progress does not become a crowd of messages.
type planning struct {
	mu      sync.Mutex
	version int // grows with every change
	said    planJSON
	plan    *Plan
	mapJSON []byte
}

// say is told progress, an error or, with ready, the end.
func (p *planning) say(m planJSON) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.version++
	p.said = m
}

func (p *planning) ready(plan Plan) error {
	text, err := plan.Map.json()
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.version++
	p.said = planJSON{Ready: true}
	p.plan, p.mapJSON = &plan, text
	return nil
}

// news returns the message if it is newer than a version.
func (p *planning) news(since int) (version int, text []byte, err error) {
	p.mu.Lock()
	m, version := p.said, p.version
	p.mu.Unlock()
	if version == since {
		return version, nil, nil
	}
	m.Kind = "plan"
	text, err = json.Marshal(m)
	return version, text, err
}

func (p *planning) theMap() []byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.mapJSON
}

// meeting lays out a cell of the map.
func (p *planning) meeting(callout, step int) (*scene.Timeline, error) {
	p.mu.Lock()
	plan := p.plan
	p.mu.Unlock()
	if plan == nil {
		return nil, fmt.Errorf("the plan is not ready yet")
	}
	if callout < 0 || callout >= len(plan.Map.Callouts) || step < 0 || step >= max(1, len(plan.Map.RPM)) {
		return nil, fmt.Errorf("the map has no such meeting")
	}
	return plan.Meeting(callout, step)
}
