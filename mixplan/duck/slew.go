package duck

// slew is the attenuation of one rule: the hot loop of the law.
type slew struct {
	depth    float64 // dB
	down, up float64 // dB a frame
	a        float64 // dB, of the last frame
}

// wanted moves a towards the depth over len(dst) frames and raises dst to it
// where it is larger.
func (s *slew) wanted(dst []float64) {
	a := s.a
	for i := range dst {
		if a < s.depth {
			a = min(s.depth, a+s.down)
		}
		dst[i] = max(dst[i], a)
	}
	s.a = a
}

// released moves a towards 0 likewise.
func (s *slew) released(dst []float64) {
	a := s.a
	for i := range dst {
		if a == 0 {
			break
		}
		a = max(0, a-s.up)
		dst[i] = max(dst[i], a)
	}
	s.a = a
}
