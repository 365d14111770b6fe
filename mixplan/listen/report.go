package listen

import (
	"math"

	"tachbench/samples"
)

// show tells a snapshot what the desk knows.
func (d *desk) show(s *Snapshot) {
	s.Frame = d.frame
	s.RPM, s.Load, s.Limiting = math.NaN(), math.NaN(), false
	switch l := d.cur; {
	case d.handOn.to == 1:
		s.RPM, s.Load = d.hand.note.RPM(), d.hand.soundLoad
		s.Limiting = !d.hand.bySlider && d.hand.model.State().Limiting
	case l.scene():
		s.RPM, s.Load = l.rpmAt(l.pos())
	}
	if l := d.cur; l.scene() {
		s.Scene, s.LengthS = l.timeline.Name, float64(l.timeline.Frames)/float64(d.rateHz)
		s.PositionS = float64(l.pos()) / float64(d.rateHz)
	} else if d.ended > 0 && d.old != nil && d.old.play == d.ended {
		s.PositionS = s.LengthS
	}
	s.MatchDB = d.cur.matchDB(d.planned.to == 1)
	s.MomentaryLUFS, s.ShortTermLUFS = d.loud.momentary, d.loud.shortTerm
	s.TruePeakDBTP, s.TruePeakHoldDBTP = d.machine.db(), samples.AmplitudeDB(d.hold)
	s.Clips = d.clips.runs
	s.OutputPeakDBTP, s.LimitedDB = d.output.db(), d.limit.takenDB()
	for i, k := range d.depths {
		s.Buses[i].DuckDB, s.Buses[i].DipDB = k.duckDB, k.dipDB
	}
	d.ear.into(s)
}
