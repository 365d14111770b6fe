package loudness

// state is the memory of both filter stages of one channel (transposed direct
// form II) and the energy since the last step of the grid.
type state struct {
	s1, s2 float64 // shelf
	t1, t2 float64 // high-pass
	energy float64 // sum of squared weighted samples
}

// tiny is where a decaying filter state is set to zero, 600 dB under full
// scale: left alone it would reach denormal numbers and stay there, where the
// processor is a hundred times slower.
const tiny = 1e-30

// settle is called at every step of the grid, at places that do not depend on
// the block size.
func (s *state) settle() {
	if s.s1 > -tiny && s.s1 < tiny && s.s2 > -tiny && s.s2 < tiny {
		s.s1, s.s2 = 0, 0
	}
	if s.t1 > -tiny && s.t1 < tiny && s.t2 > -tiny && s.t2 < tiny {
		s.t1, s.t2 = 0, 0
	}
	s.energy = 0
}

// one adds the weighted energy of x to s.
func (w *weighting) one(s *state, x []float64) {
	b0, b1, b2, a1, a2, c1, c2 := w.b0, w.b1, w.b2, w.a1, w.a2, w.c1, w.c2
	s1, s2, t1, t2, e := s.s1, s.s2, s.t1, s.t2, s.energy
	for _, u := range x {
		v := b0*u + s1
		s1 = b1*u + s2 - a1*v
		s2 = b2*u - a2*v
		y := v + t1
		t1 = t2 - (v + v) - c1*y
		t2 = v - c2*y
		e += y * y
	}
	s.s1, s.s2, s.t1, s.t2, s.energy = s1, s2, t1, t2, e
}

// two does what one does for two channels at once. A biquad waits for its own
// last output most of the time; the second channel fills that wait.
func (w *weighting) two(sa, sb *state, xa, xb []float64) {
	b0, b1, b2, a1, a2, c1, c2 := w.b0, w.b1, w.b2, w.a1, w.a2, w.c1, w.c2
	s1, s2, t1, t2, e := sa.s1, sa.s2, sa.t1, sa.t2, sa.energy
	p1, p2, q1, q2, f := sb.s1, sb.s2, sb.t1, sb.t2, sb.energy
	xb = xb[:len(xa)]
	for i, u := range xa {
		v := b0*u + s1
		s1 = b1*u + s2 - a1*v
		s2 = b2*u - a2*v
		y := v + t1
		t1 = t2 - (v + v) - c1*y
		t2 = v - c2*y
		e += y * y

		u = xb[i]
		v = b0*u + p1
		p1 = b1*u + p2 - a1*v
		p2 = b2*u - a2*v
		y = v + q1
		q1 = q2 - (v + v) - c1*y
		q2 = v - c2*y
		f += y * y
	}
	sa.s1, sa.s2, sa.t1, sa.t2, sa.energy = s1, s2, t1, t2, e
	sb.s1, sb.s2, sb.t1, sb.t2, sb.energy = p1, p2, q1, q2, f
}
