package defect

import (
	"fmt"
	"math"
	"strings"
)

// level writes a level without the sign of a zero: "-0.90", "0.00".
func level(x float64, decimals int) string { return unsignedZero(fmt.Sprintf("%.*f", decimals, x)) }

// signed is level with a plus above zero: "+0.40".
func signed(x float64, decimals int) string { return unsignedZero(fmt.Sprintf("%+.*f", decimals, x)) }

func unsignedZero(s string) string {
	if strings.Trim(s, "+-0.") == "" {
		return strings.TrimLeft(s, "+-")
	}
	return s
}

// mostDecimals is where numbers end to mean anything.
const mostDecimals = 9

// decimalsApart is how many decimals, from least up, a value and the limit it
// passed need so as not to read the same.
func decimalsApart(value, limit float64, least int) int {
	for n := least; n < mostDecimals; n++ {
		if level(value, n) != level(limit, n) {
			return n
		}
	}
	return mostDecimals
}

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
