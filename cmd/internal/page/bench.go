package page

import (
	"context"

	"tachbench/mixplan"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
)

// Bench is what the page listens to and works: a *listen.Bench. Stream is
// called by one goroutine at a time, all else by any.
type Bench interface {
	RateHz() int
	Stream(samples [][2]float64) (n int, ok bool)
	Err() error

	Drive(listen.Drive)
	Lever(pressed float64)
	Slide(rpm, load float64)

	Play(ctx context.Context, t *scene.Timeline, loop bool) error
	Stop()
	Loop(on bool)
	SetPlan(ctx context.Context, p *mixplan.Plan) error
	Planned(on bool)
	Fader(category string, db float64)
	Mute(category string, on bool)
	Solo(category string, on bool)
	InHall(on bool)
	ThroughCabinet(on bool)
	Volume(db float64)
	Silence()
	ResetHolds()

	Snapshot() listen.Snapshot
}

var _ Bench = (*listen.Bench)(nil)
