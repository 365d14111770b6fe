package curve

import (
	"math"
	"strings"
	"testing"
)

func TestParseReadsRowsHeaderAndComments(t *testing.T) {
	c, err := Parse("c.csv", strings.NewReader("# launch\ntime_s,rpm,load\n0,1600\n\n2, 5600 ,0.5\n"), 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range []struct{ t, rpm, load float64 }{{-1, 1600, 1}, {0, 1600, 1}, {1, 3600, 0.75}, {2, 5600, 0.5}, {9, 5600, 0.5}} {
		if rpm, load := c.At(k.t); math.Abs(rpm-k.rpm) > 1e-9 || math.Abs(load-k.load) > 1e-9 {
			t.Errorf("At(%g) = %g, %g; want %g, %g", k.t, rpm, load, k.rpm, k.load)
		}
	}
}

func TestParseSaysWhatIsWrongAndWhere(t *testing.T) {
	for in, want := range map[string]string{
		"":                        "c.csv: no rows; expected time_s,rpm[,load]",
		"time_s,rpm\n":            "c.csv: no rows; expected time_s,rpm[,load]",
		"0,1000\n1,2000\n0.5,900": "c.csv:3: time goes backwards, 0.5 s after 1 s; rows must be in order of time",
		"0,NaN":                   "c.csv:1: rpm must be above 0 and at most 30000, not NaN",
		"0,-5":                    "c.csv:1: rpm must be above 0 and at most 30000, not -5",
		"0,1e9":                   "c.csv:1: rpm must be above 0 and at most 30000, not 1e+09",
		"0,1000,2":                "c.csv:1: load must be 0 (overrun) to 1 (full load), not 2",
		"inf,1000":                "c.csv:1: time_s must be a number from 0 up, not +Inf",
		"-1,1000":                 "c.csv:1: time_s must be a number from 0 up, not -1",
		"0;1000":                  "c.csv:1: 1 columns; expected time_s,rpm[,load]",
		"0,fast":                  `c.csv:1: column 2, "fast", is not a number`,
	} {
		_, err := Parse("c.csv", strings.NewReader(in), 1)
		if err == nil || err.Error() != want {
			t.Errorf("%q: got %v, want %s", in, err, want)
		}
	}
}

func TestAtDoesNotDependOnTheOrderOfCalls(t *testing.T) {
	pts := []Point{{0, 1000, 1}, {1, 3000, 1}, {1, 2000, 0}, {4, 2500, 0.2}, {9, 900, 1}}
	a, err := New(pts)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < 5000; i++ {
		tS := math.Mod(float64(i)*7.3137, 10) // jumps about
		b, _ := New(pts)
		r1, l1 := a.At(tS)
		r2, l2 := b.At(tS)
		if r1 != r2 || l1 != l2 {
			t.Fatalf("At(%g): %g,%g after other calls, %g,%g fresh", tS, r1, l1, r2, l2)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("time_s,rpm\n0,1000\n1,2000,0.5\n")
	f.Add("0,1\n0,2\n")
	f.Fuzz(func(t *testing.T, in string) {
		c, err := Parse("f.csv", strings.NewReader(in), 1)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "f.csv:") || strings.Contains(err.Error(), "\n") {
				t.Fatalf("error is not one line with its place: %q", err)
			}
			return
		}
		last := -1.0
		for _, p := range c.Points() {
			if p.TimeS < last || !(p.RPM > 0 && p.RPM <= LimitRPM) || !(p.Load >= 0 && p.Load <= 1) {
				t.Fatalf("accepted %+v", p)
			}
			last = p.TimeS
			if rpm, _ := c.At(p.TimeS); math.IsNaN(rpm) {
				t.Fatalf("At(%g) is NaN", p.TimeS)
			}
		}
	})
}
