package meet

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"tachbench/analysis/sii"
)

// Moments of a callout are looked at in each meeting: spread evenly over its
// active frames.
const Moments = 24

// DrawsPerStep is how many meetings there are for each step of the engine's
// revs; a package without an engine has as many for DefaultRPMSteps steps.
const DrawsPerStep = 4

// Present is one sound in a meeting.
type Present struct {
	Bus, Sound int // in Package.Buses
	// At is the frame of the sound at the callout's frame 0; a bed goes round,
	// an event is silent before its first and after its last frame.
	At int
}

// Meeting is a callout over other sounds.
type Meeting struct {
	With []Present // in the order of the buses
	Step int       // the engine's step, -1 without
}

// Meetings draws the meetings of a callout, stratified over the engine's
// steps: meeting i is at step i mod steps.
func (p *Package) Meetings(callout int, seed uint64) []Meeting {
	c := p.Callouts[callout]
	r := draws(seed, c.Path)
	steps := p.Steps()
	out := make([]Meeting, DrawsPerStep*max(steps, 1))
	if steps == 0 {
		out = make([]Meeting, DrawsPerStep*DefaultRPMSteps)
	}
	order := make([][]int, len(p.Buses))
	for i := range out {
		out[i].Step = -1
		for b, bus := range p.Buses {
			if bus.Sounds[0].RPM > 0 {
				out[i].Step = i % steps
				out[i].With = append(out[i].With, Present{b, i % steps, r.IntN(len(bus.Sounds[i%steps].Power) + 1)})
				continue
			}
			// Every sound has its turn before one comes again.
			if len(order[b]) == 0 {
				order[b] = r.Perm(len(bus.Sounds))
			}
			s := order[b][0]
			order[b] = order[b][1:]
			out[i].With = append(out[i].With, Present{b, s, place(r, c, bus.Sounds[s])})
		}
	}
	return out
}

// draws returns the random numbers of one sound.
func draws(seed uint64, path string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(path))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// place draws where a sound is when the callout starts: anywhere for a bed;
// for an event such that the two touch.
func place(r *rand.Rand, callout, s *Sound) int {
	n := len(s.Power)
	if s.Bed() {
		return r.IntN(max(1, n))
	}
	return r.IntN(max(1, n+len(callout.Power)-1)) - len(callout.Power) + 1
}

// Steps returns the number of steps of the engine's revs, 0 without engine.
func (p *Package) Steps() int {
	if n := len(p.Buses); n > 0 && p.Buses[n-1].Sounds[0].RPM > 0 {
		return len(p.Buses[n-1].Sounds)
	}
	return 0
}

// StepsRPM returns the revs of each step, from idle to redline; none without
// engine.
func (p *Package) StepsRPM() []float64 {
	out := make([]float64, p.Steps())
	for i := range out {
		out[i] = p.Buses[len(p.Buses)-1].Sounds[i].RPM
	}
	return out
}

// frame returns the power of a sound at one frame of the callout, nil for
// silence.
func (s *Sound) frame(at int) *sii.Masker {
	n := len(s.Power)
	if n == 0 {
		return nil
	}
	if s.Bed() {
		return &s.Power[((at%n)+n)%n]
	}
	if at < 0 || at >= n {
		return nil
	}
	return &s.Power[at]
}

// Prepared is a callout with its meetings, ready to be asked for its index
// under any gains. It is read only and may be used from several goroutines.
type Prepared struct {
	Talker sii.Talker
	// maskers holds, for each meeting and moment, one pointer a bus.
	maskers  []*sii.Masker
	meetings int
	moments  int
	buses    int
}

// Prepare looks up the frames of meetings. A callout without speech has no
// moments.
func (p *Package) Prepare(callout int, l *sii.Listener, meetings []Meeting) *Prepared {
	c := p.Callouts[callout]
	at := moments(c.Active)
	q := &Prepared{Talker: l.Hear(c.Speech), meetings: len(meetings), moments: len(at), buses: len(p.Buses)}
	q.maskers = make([]*sii.Masker, len(meetings)*len(at)*len(p.Buses))
	i := 0
	for _, m := range meetings {
		for _, f := range at {
			for _, w := range m.With {
				q.maskers[i+w.Bus] = p.Buses[w.Bus].Sounds[w.Sound].frame(w.At + f)
			}
			i += len(p.Buses)
		}
	}
	return q
}

// Louder returns the same meetings with the callout raised by db.
func (p *Package) Louder(q *Prepared, callout int, l *sii.Listener, db float64) *Prepared {
	e := p.Callouts[callout].Speech
	for i := range e {
		e[i] += db
	}
	out := *q
	out.Talker = l.Hear(e)
	return &out
}

// moments spreads Moments over the active frames.
func moments(active []bool) []int {
	var all []int
	for i, on := range active {
		if on {
			all = append(all, i)
		}
	}
	if len(all) <= Moments {
		return all
	}
	out := make([]int, Moments)
	for i := range out {
		out[i] = all[int((float64(i)+0.5)*float64(len(all))/Moments)]
	}
	return out
}

// Speaks reports whether there is anything to understand.
func (q *Prepared) Speaks() bool { return q.moments > 0 }

// Meetings returns their number.
func (q *Prepared) Meetings() int { return q.meetings }

// Moments returns how many moments of the callout each meeting is looked at
// in; 0 without speech. [Package.Moments] says when they are.
func (q *Prepared) Moments() int { return q.moments }

// Index returns the extended index of one meeting: the mean over the moments.
// hall is power per hertz. gains holds one power gain a band for each bus,
// for every moment (see [Package.Moments]), or once for all of them. NaN
// without speech.
func (q *Prepared) Index(meeting int, hall *sii.Masker, gains ...[]sii.Masker) float64 {
	if q.moments == 0 {
		return math.NaN()
	}
	sum := 0.0
	for i := range q.moments {
		sum += q.moment(meeting, i, hall, gains)
	}
	return sum / float64(q.moments)
}

// IndexMoments writes the index of one meeting at each of the callout's
// moments into dst, which must hold Moments values; it does not allocate.
// [Prepared.Index] is their mean. hall and gains are as there.
func (q *Prepared) IndexMoments(dst []float64, meeting int, hall *sii.Masker, gains ...[]sii.Masker) {
	for i := range dst[:q.moments] {
		dst[i] = q.moment(meeting, i, hall, gains)
	}
}

// moment returns the index at one moment of one meeting.
func (q *Prepared) moment(meeting, i int, hall *sii.Masker, gains [][]sii.Masker) float64 {
	now := gains[min(i, len(gains)-1)]
	at := (meeting*q.moments + i) * q.buses
	m := *hall
	for b, w := range q.maskers[at : at+q.buses] {
		if w != nil {
			g := &now[b]
			for k := range m {
				m[k] += g[k] * w[k]
			}
		}
	}
	return q.Talker.IndexPower(&m)
}

// Indices writes the index of every meeting into dst, which must be as long.
func (q *Prepared) Indices(dst []float64, hall *sii.Masker, gains ...[]sii.Masker) {
	for i := range dst {
		dst[i] = q.Index(i, hall, gains...)
	}
}

// Moments returns when the moments of a callout are, in seconds from its
// start: the middles of their frames.
func (p *Package) Moments(callout int) []float64 {
	var out []float64
	for _, f := range moments(p.Callouts[callout].Active) {
		out = append(out, (float64(f)+0.5)*p.StepS)
	}
	return out
}

// Unity returns gains that change nothing.
func (p *Package) Unity() []sii.Masker {
	g := make([]sii.Masker, len(p.Buses))
	for b := range g {
		for k := range g[b] {
			g[b][k] = 1
		}
	}
	return g
}

// Importance is what counts in a callout: that of average speech, or that of
// single words if the sheet says it is one.
func (s *Sound) Importance() sii.Importance {
	if s.OneWord {
		return sii.OneWord
	}
	return sii.AverageSpeech
}

// ImportanceOf is what counts in callouts taken together, each counting alike:
// the mean of their own importances. That of one callout is its own; without
// any it is that of average speech.
func ImportanceOf(callouts []*Sound) sii.Importance {
	if len(callouts) == 0 {
		return sii.AverageSpeech
	}
	out := callouts[0].Importance()
	for i, c := range callouts[1:] {
		own := c.Importance()
		if own.Name != out.Name {
			out.Name = "mean of the callouts"
		}
		for b, w := range own.Band {
			out.Band[b] += (w - out.Band[b]) / float64(i+2)
		}
	}
	return out
}

// Listener is whom a callout is judged by: normal hearing.
func (s *Sound) Listener() *sii.Listener { return sii.NewListener(s.Importance(), sii.Levels{}) }

// Alone returns meetings of a callout with one sound of a bus and nothing
// else: n of them at drawn places, for a bed or an event. A step of the engine
// is the same everywhere and is met once.
func (p *Package) Alone(callout, bus, sound, n int, seed uint64) []Meeting {
	s := p.Buses[bus].Sounds[sound]
	if s.RPM > 0 {
		return []Meeting{{[]Present{{bus, sound, 0}}, sound}}
	}
	c := p.Callouts[callout]
	r := draws(seed, c.Path+"\x00"+s.Path)
	out := make([]Meeting, n)
	for i := range out {
		out[i] = Meeting{[]Present{{bus, sound, place(r, c, s)}}, -1}
	}
	return out
}

// Hall returns the one meeting with the hall alone.
func Hall() []Meeting { return []Meeting{{nil, -1}} }
