package page

import "time"

// How far ahead of the browser's consumption the server sends. Our judgement,
// no source: 40 ms is four blocks, what an idle machine needs; a third of a
// second is as late as a hand on a lever can bear.
const (
	blocksPerS = 100
	minLead    = 4           // blocks
	maxLead    = 30          // blocks
	calmS      = 20          // seconds without an underrun that take one block off the lead
	deafAfter  = time.Second // without a report: nobody is listening
)

// pacing decides when the next block is due. It knows no clock but what it is
// told.
type pacing struct {
	block int64 // frames of a block
	calm  int64 // frames without an underrun that shorten the lead

	running   bool
	deaf      bool // no report for deafAfter; nothing is sent until one comes
	gap       bool // the next block is the first after a start or a gap
	number    uint32
	sent      int64 // frames since start
	played    int64 // frames since start, as reported
	underruns int64 // since start, as reported
	lead      int64 // blocks
	calmFrom  int64 // played at the last change of the lead
	heard     time.Time
}

func newPacing(rateHz int) pacing {
	block := int64(max(1, rateHz/blocksPerS))
	return pacing{block: block, calm: calmS * blocksPerS * block, lead: minLead}
}

// start begins anew: nothing sent, nothing played. The lead that was found
// stays.
func (p *pacing) start(now time.Time) {
	p.running, p.deaf, p.gap = true, false, true
	p.number, p.sent, p.played, p.underruns, p.calmFrom = 0, 0, 0, 0, 0
	p.heard = now
}

func (p *pacing) pause() { p.running = false }

// report takes what the browser says it has played since start. What it can
// not have played is passed over: a report may have been under way when a new
// start was made.
func (p *pacing) report(now time.Time, frames, underruns int64) {
	if !p.running {
		return
	}
	p.heard = now
	if p.deaf {
		p.deaf, p.gap = false, true
	}
	p.played = max(p.played, min(frames, p.sent))
	if more := underruns - p.underruns; more > 0 {
		p.lead = min(maxLead, p.lead+min(more, maxLead))
		p.calmFrom = p.played
	} else if p.played-p.calmFrom >= p.calm {
		p.lead = max(minLead, p.lead-1)
		p.calmFrom = p.played
	}
	p.underruns = underruns
}

// silence looks whether nobody has been listening for too long; true if that
// is news.
func (p *pacing) silence(now time.Time) bool {
	if !p.running || p.deaf || now.Sub(p.heard) < deafAfter {
		return false
	}
	p.deaf = true
	return true
}

// due reports whether a block is to be sent, and counts it as sent.
func (p *pacing) due() (h header, ok bool) {
	if !p.running || p.deaf || p.sent-p.played >= p.lead*p.block {
		return header{}, false
	}
	h = header{first: p.gap, number: p.number, lead: uint32(p.lead * p.block)}
	p.gap = false
	p.number++
	p.sent += p.block
	return h, true
}
