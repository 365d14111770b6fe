//go:build outside

// The levels of sound files by this project, beside those of libebur128 and
// FFmpeg. See ebur128.sh.
//
//	ebur128_levels compare LIST LIB   exit 1 if a level is too far off
//	ebur128_levels speed FILE         48 kHz stereo 16 bit; x real time
//
// LIST holds the rows of ebur128_decode.sh, LIB those of ebur128_lib.
package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
)

func main() {
	switch {
	case len(os.Args) == 4 && os.Args[1] == "compare":
		compare(os.Args[2], os.Args[3])
	case len(os.Args) == 3 && os.Args[1] == "speed":
		speed(os.Args[2])
	default:
		fail("usage: compare LIST LIB, or speed FILE")
	}
}

func fail(v ...any) {
	fmt.Fprintln(os.Stderr, v...)
	os.Exit(1)
}

// rows reads tab-separated lines by their first column.
func rows(path string) (order []string, by map[string][]string) {
	data, err := os.ReadFile(path)
	if err != nil {
		fail(err)
	}
	by = map[string][]string{}
	for line := range strings.Lines(string(data)) {
		col := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		order = append(order, col[0])
		by[col[0]] = col[1:]
	}
	return order, by
}

func load(path string, channels int) [][]float64 {
	data, err := os.ReadFile(path)
	if err != nil {
		fail(err)
	}
	block := make([][]float64, channels)
	for i := 0; i+8 <= len(data); i += 8 {
		c := i / 8 % channels
		block[c] = append(block[c], math.Float64frombits(binary.LittleEndian.Uint64(data[i:])))
	}
	return block
}

// The columns of ebur128_lib.c.
const (
	integrated = iota
	rangeEverySecond
	rangeLU
	momentary
	shortTerm
	samplePeak
	truePeak
)

// levels returns the columns of ebur128_lib.c, NaN where there is no value,
// and short-term loudness every 100 ms.
func levels(path string, rate, channels int) (out [truePeak + 1]float64, series []float64) {
	block := load(path, channels)
	l, err := loudness.New(rate, channels, 0)
	if err != nil {
		fail(path, err)
	}
	p, err := peak.New(rate, channels)
	if err != nil {
		fail(path, err)
	}
	l.Write(block)
	p.Write(block)
	number := func(v float64, ok bool) float64 {
		if !ok {
			return math.NaN()
		}
		return v
	}
	// libebur128 takes a short-term value every second only; every tenth of
	// ours gives its figure.
	series = l.ShortTermLUFS()
	var s []float64
	for i := 0; i < len(series); i += 10 {
		s = append(s, series[i])
	}
	r := l.Result()
	out = [...]float64{r.IntegratedLUFS.Value, number(loudness.RangeLU(s)), r.RangeLU.Value,
		r.MomentaryMaxLUFS.Value, r.ShortTermMaxLUFS.Value, number(p.Result().SamplePeakDBFS()), number(p.Result().TruePeakDBTP())}

	return out, series
}

// rangeOfRanks returns the smallest and the largest loudness range that
// percentiles one rank up or down would give. FFmpeg counts its ranks in its
// own way, and where a sound is short or has a gap in its levels the
// neighbours lie apart. False if there are too few values for that.
func rangeOfRanks(s []float64) (low, high float64, ok bool) {
	var sum float64
	n := 0.0
	for _, v := range s {
		if v >= -70 {
			sum += math.Pow(10, v/10)
			n++
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	gate := max(-70, 10*math.Log10(sum/n)-20)
	s = slices.DeleteFunc(slices.Sorted(slices.Values(s)), func(v float64) bool { return v < gate })
	last := len(s) - 1
	if last < 10 {
		return 0, 0, false
	}
	a, b := (last*10+50)/100, (last*95+50)/100
	return s[b-1] - s[a+1], s[min(b+1, last)] - s[max(a-1, 0)], true
}

type column struct {
	name      string
	tolerance float64
	shown     bool // not required
	values    int
	over      int
	worst     float64
	worstIn   string
}

// see compares one pair; NaN is no value.
func (c *column) see(path string, ours, theirs float64) {
	if math.IsNaN(theirs) && math.IsNaN(ours) {
		return
	}
	c.values++
	d := math.Abs(ours - theirs)
	if d > c.worst || c.worstIn == "" {
		c.worst, c.worstIn = d, path
	}
	if !(d <= c.tolerance) {
		c.over++
		if c.shown {
			return
		}
		fmt.Printf("  %s: %s ours %.4f, theirs %.4f\n", path, c.name, ours, theirs)
	}
}

// parse reads a column of a row; "-", "-inf" and what is missing are no value.
func parse(row []string, i int) float64 {
	if i < len(row) {
		if v, err := strconv.ParseFloat(row[i], 64); err == nil && !math.IsInf(v, 0) {
			return v
		}
	}
	return math.NaN()
}

func compare(listPath, libPath string) {
	order, list := rows(listPath)
	_, lib := rows(libPath)
	lc := [...]column{{name: "I", tolerance: 0.01}, {name: "LRA, step 1 s", tolerance: 0.01}, {name: "LRA, step 100 ms", tolerance: 0.01},
		{name: "max M", tolerance: 0.01}, {name: "max S", tolerance: 0.01}, {name: "sample peak", tolerance: 0.05}, {name: "true peak", tolerance: 0.05}}
	// FFmpeg prints one decimal, so half of that is its own rounding; the rest
	// is the width of its histograms, 0.01 LU at each end of the range.
	fc := [...]column{{name: "I", tolerance: 0.05 + 0.01}, {name: "LRA", tolerance: 0.05 + 0.02}, {name: "sample peak", tolerance: 0.05 + 1e-6},
		// FFmpeg interpolates to 192 kHz, 24 times at 8 kHz, with a filter of its
		// own and without the end of the sound: no two such meters agree on every
		// file, and its tenths are shown, not required.
		{name: "true peak", tolerance: 0.06, shown: true}}
	for _, path := range order {
		rate, channels := int(parse(list[path], 0)), int(parse(list[path], 1))
		short := filepath.Base(path)
		ours, series := levels(path, rate, channels)
		for i := range lc {
			theirs := parse(lib[path], i)
			if (i == rangeEverySecond || i == rangeLU) && theirs == 0 && math.IsNaN(ours[i]) {
				continue // the library says 0 of an empty set, we say nothing
			}
			if i == truePeak && rate >= 96000 {
				// From here on the library takes twofold oversampling, then
				// none; fourfold can only find more.
				if ours[i] < theirs-0.05 || ours[i] > theirs+3.02 {
					fail(short, "true peak", ours[i], "is under that of a coarser grid,", theirs)
				}
				continue
			}
			lc[i].see(short, ours[i], theirs)
		}
		if rate%10 == 0 { // FFmpeg's windows are cut short at other rates
			if !math.IsNaN(ours[integrated]) {
				fc[0].see(short, ours[integrated], parse(list[path], 2))
			}
			if low, high, ok := rangeOfRanks(series); ok {
				theirs := parse(list[path], 3)
				fc[1].see(short, max(low, min(high, theirs)), theirs)
			}
		}
		fc[2].see(short, ours[samplePeak], parse(list[path], 4))
		fc[3].see(short, ours[truePeak], parse(list[path], 5))
	}
	bad := 0
	for _, t := range []struct {
		who string
		c   []column
	}{{"libebur128", lc[:]}, {"FFmpeg", fc[:]}} {
		for _, c := range t.c {
			fmt.Printf("%-10s %-16s %4d values, worst %.5f (allowed %.3g), %d over; %s\n", t.who, c.name, c.values, c.worst, c.tolerance, c.over, c.worstIn)
			if !c.shown {
				bad += c.over
			}
			if c.values == 0 {
				fail("nothing was compared:", t.who, c.name)
			}
		}
	}
	if bad > 0 {
		fail(bad, "levels are too far off")
	}
}

func speed(path string) {
	const block = 4800
	f, err := os.Open(path)
	if err != nil {
		fail(err)
	}
	r := bufio.NewReaderSize(f, 1<<20)
	l, _ := loudness.New(48000, 2, 0x3)
	p, _ := peak.New(48000, 2)
	in := make([]byte, 4*block)
	a, b := make([]float64, block), make([]float64, block)
	var spent time.Duration
	frames := 0
	for {
		n, err := io.ReadFull(r, in)
		n /= 4
		for i := range n {
			a[i] = float64(int16(binary.LittleEndian.Uint16(in[4*i:]))) / 32768
			b[i] = float64(int16(binary.LittleEndian.Uint16(in[4*i+2:]))) / 32768
		}
		t := time.Now() // the meters alone, without reading and converting
		part := [][]float64{a[:n], b[:n]}
		l.Write(part)
		p.Write(part)
		spent += time.Since(t)
		frames += n
		if err != nil {
			break
		}
	}
	t := time.Now()
	l.Result()
	p.Result()
	spent += time.Since(t)
	fmt.Printf("%.2f\n", float64(frames)/48000/spent.Seconds())
}
