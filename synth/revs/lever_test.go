package revs

import (
	"math"
	"strings"
	"testing"
)

func TestParseLever(t *testing.T) {
	l, err := ParseLever(strings.NewReader("\ufefftime_s,pressed\r\n# a press\r\n0.5, 1\r\n\r\n1.25,0 # let go\r\n"), "presses.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]float64{{0, 0}, {0.4999, 0}, {0.5, 1}, {1.2, 1}, {1.25, 0}, {99, 0}} {
		if got := l.At(c[0]); got != c[1] {
			t.Errorf("lever at %g s is %g, want %g", c[0], got, c[1])
		}
	}
	if l.EndS() != 1.25 {
		t.Errorf("ends at %g s, want 1.25", l.EndS())
	}
}

func TestParseLeverErrors(t *testing.T) {
	for in, want := range map[string]string{
		"":                                   "presses.csv: no rows",
		"time_s,pressed\n":                   "presses.csv: no rows",
		"0,0\n1,1\n1,0\n":                    "presses.csv:3: time 1 s does not come after 1 s",
		"0,0\n\n# x\n-1,1\n":                 "presses.csv:4: time \"-1\" is not",
		"0,2\n":                              "presses.csv:1: pressed \"2\" is not",
		"0,NaN\n":                            "presses.csv:1: pressed \"NaN\" is not",
		"NaN,1\n":                            "presses.csv:1: time \"NaN\" is not",
		"0\n":                                "presses.csv:1: 1 values, want two",
		"time_s,rpm\n0,1\n":                  "presses.csv:1: time \"time_s\" is not",
		"0,1\ntime_s,pressed\n":              "presses.csv:2: time \"time_s\" is not",
		"0,1\n" + strings.Repeat("9", 70000): "presses.csv:2: the line is too long",
	} {
		_, err := ParseLever(strings.NewReader(in), "presses.csv")
		if err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.30q: got %v, want %s...", in, err, want)
		}
	}
}

// TestRunActsOnTime: a row between two points of the trace acts at its own
// time, so a coarse hop sees the same engine as a fine one.
func TestRunActsOnTime(t *testing.T) {
	lever := Lever{TimeS: []float64{0, 0.333, 1.7}, Pressed: []float64{0, 1, 0}}
	fine := Run(sled(t, nil), lever, 3, 0.001)
	coarse := Run(sled(t, nil), lever, 3, 0.25)
	if len(coarse.RPM) != 13 || len(fine.RPM) != 3001 {
		t.Fatalf("%d and %d points, want 13 and 3001", len(coarse.RPM), len(fine.RPM))
	}
	for i := range coarse.RPM {
		within(t, "coarse against fine", coarse.RPM[i], fine.RPM[250*i], 1e-9)
		within(t, "time", coarse.TimeS[i], 0.25*float64(i), 1e-12)
	}
	if fine.RPM[1700] < 7000 || fine.RPM[300] > 1800 || fine.Load[1000] < 0.9 || fine.Load[2500] > 0.1 {
		t.Errorf("the press is not to be seen: %.0f then %.0f RPM", fine.RPM[300], fine.RPM[1700])
	}
}

// FuzzParseLever: whatever is accepted is in range and in order, and At
// gives back every row.
func FuzzParseLever(f *testing.F) {
	for _, s := range []string{"time_s,pressed\n0,1\n", "0.5,1\n1,0 # x\n", "\ufeff1e-3,0.25\r\n", "0,0\n0,0", ",\n", "1,0x1p-2\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		l, err := ParseLever(strings.NewReader(in), "x.csv")
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("more than one line: %q", err)
			}
			return
		}
		prev := math.Inf(-1)
		for i, at := range l.TimeS {
			v := l.Pressed[i]
			if !(at > prev && at >= 0) || !(v >= 0 && v <= 1) || l.At(at) != v {
				t.Fatalf("row %d: %g s, %g", i, at, v)
			}
			prev = at
		}
	})
}
