package band

import "math"

// First and last third octave, 20 Hz and 20 kHz: IEC 61260-1 index x.
const (
	FirstX = -17
	LastX  = 13
)

var nominalHz = [LastX - FirstX + 1]float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}

// NominalHz is the printed name of third octave x, FirstX to LastX.
func NominalHz(x int) float64 { return nominalHz[x-FirstX] }

// MidHz is the exact mid-band frequency of third octave x: 1000·10^(x/10)
// (IEC 61260-1, base 10, b = 3).
func MidHz(x int) float64 { return 1000 * math.Pow(10, float64(x)/10) }

// Edges returns the band edges of third octave x, 10^∓0.05 from its middle.
// Neighbours share an edge.
func Edges(x int) (lowHz, highHz float64) {
	return 1000 * math.Pow(10, (float64(x)-0.5)/10), 1000 * math.Pow(10, (float64(x)+0.5)/10)
}

// Poles of the weighting curves, Hz (IEC 61672-1, Annex E; the digits are
// recomputed from its formulae).
const (
	pole1Hz = 20.598997057618
	pole2Hz = 107.652648643046
	pole3Hz = 737.862230736290
	pole4Hz = 12194.217147998
)

// AWeightDB is the A weighting at a frequency: 0 dB at 1 kHz, -Inf at 0 Hz.
func AWeightDB(hz float64) float64 { return 20 * math.Log10(aCurve(hz)/aCurve(1000)) }

// CWeightDB is the C weighting at a frequency: 0 dB at 1 kHz, -Inf at 0 Hz.
func CWeightDB(hz float64) float64 { return 20 * math.Log10(cCurve(hz)/cCurve(1000)) }

func aCurve(hz float64) float64 {
	f := hz * hz
	return pole4Hz * pole4Hz * f * f /
		((f + pole1Hz*pole1Hz) * math.Sqrt((f+pole2Hz*pole2Hz)*(f+pole3Hz*pole3Hz)) * (f + pole4Hz*pole4Hz))
}

func cCurve(hz float64) float64 {
	f := hz * hz
	return pole4Hz * pole4Hz * f / ((f + pole1Hz*pole1Hz) * (f + pole4Hz*pole4Hz))
}
