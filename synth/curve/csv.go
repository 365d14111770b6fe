package curve

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// maxRows bounds what a curve file may hold: a day at 100 rows a second.
const maxRows = 24 * 3600 * 100

// Parse reads rows `time_s,rpm[,load]` separated by commas. A first row of
// words is taken as a header; blank lines and lines that begin with # are
// passed over; a row without load gets defaultLoad. Errors are one line that
// begins with name and the line number.
func Parse(name string, r io.Reader, defaultLoad float64) (*Curve, error) {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 0, 4096), 1<<16)
	var points []Point
	line, rows := 0, 0
	for sc.Scan() {
		line++
		text := strings.TrimSpace(strings.TrimPrefix(sc.Text(), "\ufeff"))
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		rows++
		fields := strings.Split(text, ",")
		if rows == 1 && isHeader(fields) {
			continue
		}
		p, err := parseRow(fields, defaultLoad)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, line, err)
		}
		if n := len(points); n > 0 && p.TimeS < points[n-1].TimeS {
			return nil, fmt.Errorf("%s:%d: time goes backwards, %g s after %g s; rows must be in order of time", name, line, p.TimeS, points[n-1].TimeS)
		}
		if len(points) == maxRows {
			return nil, fmt.Errorf("%s:%d: more than %d rows; thin the curve out", name, line, maxRows)
		}
		points = append(points, p)
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("%s:%d: %w", name, line+1, err)
	}
	if len(points) == 0 {
		return nil, fmt.Errorf("%s: no rows; expected time_s,rpm[,load]", name)
	}
	return &Curve{points: points}, nil
}

func isHeader(fields []string) bool {
	_, err := strconv.ParseFloat(strings.TrimSpace(fields[0]), 64)
	return err != nil && strings.EqualFold(strings.TrimSpace(fields[0]), "time_s")
}

func parseRow(fields []string, defaultLoad float64) (Point, error) {
	if len(fields) != 2 && len(fields) != 3 {
		return Point{}, fmt.Errorf("%d columns; expected time_s,rpm[,load]", len(fields))
	}
	v := [3]float64{0, 0, defaultLoad}
	for i, f := range fields {
		x, err := strconv.ParseFloat(strings.TrimSpace(f), 64)
		if err != nil && !math.IsInf(x, 0) {
			return Point{}, fmt.Errorf("column %d, %q, is not a number", i+1, strings.TrimSpace(f))
		}
		v[i] = x
	}
	p := Point{v[0], v[1], v[2]}
	return p, check(p)
}
