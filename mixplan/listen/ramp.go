package listen

// ramp is a value on a straight way to another: nothing here ever jumps. It
// counts frames, so that it does not matter how they are cut into blocks.
type ramp struct {
	v, to, from float64
	left, all   int
}

// aim sends the ramp to a value within so many frames.
func (r *ramp) aim(to float64, frames int) {
	if to == r.to {
		return
	}
	r.from, r.to, r.left, r.all = r.v, to, frames, frames
}

// set puts the ramp at a value at once.
func (r *ramp) set(v float64) { *r = ramp{v: v, to: v} }

// fill writes the next values, one a frame.
func (r *ramp) fill(dst []float64) {
	n := min(r.left, len(dst))
	for i := range dst[:n] {
		r.left--
		r.v = r.to + (r.from-r.to)*float64(r.left)/float64(r.all)
		dst[i] = r.v
	}
	for i := n; i < len(dst); i++ {
		dst[i] = r.v
	}
}

// off reports whether the ramp is at 0 and stays there.
func (r *ramp) off() bool { return r.v == 0 && r.left == 0 }
