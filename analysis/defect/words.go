package defect

import (
	"fmt"
	"math"
)

// seconds writes a time span with a fitting unit: "250 ms", "1.20 s".
func seconds(s float64) string {
	switch {
	case s < 0.01:
		return fmt.Sprintf("%.2g ms", s*1000)
	case s < 0.9995:
		return fmt.Sprintf("%.0f ms", s*1000)
	}
	return fmt.Sprintf("%.2f s", s)
}

// hertz writes a frequency: "120 Hz", "7.4 kHz".
func hertz(f float64) string {
	if f < 1000 {
		return fmt.Sprintf("%.0f Hz", f)
	}
	return fmt.Sprintf("%.1f kHz", f/1000)
}

// plural writes a count with the fitting words.
func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// share writes a part of one as percent, at least "1 %" unless it is zero.
func share(x float64) string {
	if x > 0 && x < 0.01 {
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", math.Round(100*x))
}

// fmtUnder says how small the difference of two channels is.
func fmtUnder(db float64) string { return fmt.Sprintf("the same but for %.0f dB", -db) }
