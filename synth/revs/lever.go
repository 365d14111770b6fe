package revs

import (
	"bufio"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
)

// Lever is what a hand does: a value that holds from each row's time until
// the next row, as a button does. Before the first row the lever is shut.
type Lever struct {
	TimeS   []float64 // seconds, >= 0, rising
	Pressed []float64 // 0 shut .. 1 full; same length
}

// maxLeverRows bounds what a file may hold.
const maxLeverRows = 1_000_000

// At returns the lever at tS seconds.
func (l Lever) At(tS float64) float64 {
	i := sort.Search(len(l.TimeS), func(i int) bool { return l.TimeS[i] > tS })
	if i == 0 {
		return 0
	}
	return l.Pressed[i-1]
}

// EndS returns the time of the last row, 0 if there is none.
func (l Lever) EndS() float64 {
	if len(l.TimeS) == 0 {
		return 0
	}
	return l.TimeS[len(l.TimeS)-1]
}

// ParseLever reads rows `time_s,pressed`: seconds, strictly rising, and a
// value 0..1. The header `time_s,pressed`, blank lines and what follows a #
// are skipped. Errors are one line and begin with name:row.
func ParseLever(r io.Reader, name string) (Lever, error) {
	var l Lever
	sc := bufio.NewScanner(r)
	fail := func(row int, format string, args ...any) (Lever, error) {
		return Lever{}, fmt.Errorf("%s:%d: %s", name, row, fmt.Sprintf(format, args...))
	}
	row, first := 0, true
	for sc.Scan() {
		row++
		text := sc.Text()
		if row == 1 {
			text = strings.TrimPrefix(text, "\ufeff")
		}
		text, _, _ = strings.Cut(text, "#")
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		fields := strings.Split(text, ",")
		for i := range fields {
			fields[i] = strings.TrimSpace(fields[i])
		}
		if len(fields) != 2 {
			return fail(row, "%d values, want two: time_s,pressed", len(fields))
		}
		header := first && strings.EqualFold(fields[0], "time_s") && strings.EqualFold(fields[1], "pressed")
		first = false
		if header {
			continue
		}
		t, err := strconv.ParseFloat(fields[0], 64)
		if err != nil || !(t >= 0 && t <= 1e6) {
			return fail(row, "time %.40q is not a number of seconds, 0 to 1e6", fields[0])
		}
		v, err := strconv.ParseFloat(fields[1], 64)
		if err != nil || !(v >= 0 && v <= 1) {
			return fail(row, "pressed %.40q is not a number, 0 (shut) to 1 (full)", fields[1])
		}
		if n := len(l.TimeS); n > 0 && t <= l.TimeS[n-1] {
			return fail(row, "time %g s does not come after %g s in the row before", t, l.TimeS[n-1])
		}
		if len(l.TimeS) == maxLeverRows {
			return fail(row, "more than %d rows", maxLeverRows)
		}
		l.TimeS = append(l.TimeS, t)
		l.Pressed = append(l.Pressed, v)
	}
	if err := sc.Err(); err != nil {
		if err == bufio.ErrTooLong {
			return fail(row+1, "the line is too long to be time_s,pressed")
		}
		return Lever{}, fmt.Errorf("%s: %w", name, err)
	}
	if len(l.TimeS) == 0 {
		return Lever{}, fmt.Errorf("%s: no rows; want lines time_s,pressed such as 0.5,1", name)
	}
	return l, nil
}
