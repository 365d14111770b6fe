package duck_test

import (
	"fmt"
	"strings"
	"testing"

	"tachbench/mixplan"
	"tachbench/mixplan/duck"
)

// The attenuation of the music under one callout, read every 100 ms. At 1000
// frames a second a frame is a millisecond.
func ExampleCourse_Next() {
	music := duck.New(1000, "music", []mixplan.Duck{{
		Under: "callout", Category: "music",
		DepthDB: 8, AttackMS: 100, HoldMS: 200, ReleaseMS: 400, LookaheadMS: 50,
	}})
	music.Speak("callout", 0.25, 0.6)
	attenuationDB := make([]float64, 1401)
	music.Next(attenuationDB)
	for ms := 100; ms <= 1400; ms += 100 {
		fmt.Printf("%4d ms %4.1f dB\n", ms, attenuationDB[ms])
	}
	// Output:
	//  100 ms  0.0 dB
	//  200 ms  0.1 dB
	//  300 ms  8.0 dB
	//  400 ms  8.0 dB
	//  500 ms  8.0 dB
	//  600 ms  8.0 dB
	//  700 ms  8.0 dB
	//  800 ms  8.0 dB
	//  900 ms  6.0 dB
	// 1000 ms  4.0 dB
	// 1100 ms  2.0 dB
	// 1200 ms  0.0 dB
	// 1300 ms  0.0 dB
	// 1400 ms  0.0 dB
}

func TestLawIsTheWholeComment(t *testing.T) {
	law := duck.Law()
	for _, want := range []string{"Package duck is the ducking law", "\tdown:  D/A  dB per second", "p = b0·(x - x2) - a1·p1 - a2·p2", "# Limits"} {
		if !strings.Contains(law, want) {
			t.Errorf("missing %q", want)
		}
	}
	if strings.Contains(law, "package duck\n") || strings.Contains(law, "//") {
		t.Error("source left in the text")
	}
}
