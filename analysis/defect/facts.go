package defect

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tachbench/samples"
)

// Peak is the true peak of one channel.
type Peak struct {
	DBTP float64 // NaN or -Inf: not measured or silent
	AtS  float64 // where it is; NaN if not known
}

// CheckTruePeak reports channels whose true peak is over the limit. When all
// are, the highest one stands for all.
func CheckTruePeak(peaks []Peak, opt Options) []Finding {
	limit := opt.Limit("true_peak_dbtp")
	var out []Finding
	worst := 0
	for c, p := range peaks {
		if !(p.DBTP > limit) || math.IsInf(p.DBTP, 0) {
			continue
		}
		n := decimalsApart(p.DBTP, limit, 2)
		out = append(out, found("true-peak-over", p.AtS, c, reading{value: p.DBTP, limit: limit, unit: "dBTP"},
			"The true peak is %s dBTP, the limit is %s dBTP.", signed(p.DBTP, n), signed(limit, n)))
		if p.DBTP > out[worst].Value {
			worst = len(out) - 1
		}
	}
	if len(peaks) > 1 && len(out) == len(peaks) {
		f := out[worst]
		f.Channel = allChannels
		return []Finding{f}
	}
	return out
}

// Machine is what the machine plays. Zero fields are not checked.
type Machine struct {
	RateHz   int
	BitDepth int
	Channels int // the most channels it has speakers for; mono is always right
}

// CheckFormat compares a file with the machine.
func CheckFormat(info samples.Info, m Machine) []Finding {
	var out []Finding
	if m.RateHz > 0 && info.RateHz != m.RateHz {
		out = append(out, found("wrong-rate", wholeFile, allChannels, reading{value: float64(info.RateHz), limit: float64(m.RateHz), unit: "Hz"},
			"The file is at %d Hz, the machine plays %d Hz.", info.RateHz, m.RateHz))
	}
	if r := (reading{value: float64(info.BitDepth), limit: float64(m.BitDepth), unit: "bits"}); m.BitDepth > 0 {
		switch {
		case info.Float:
			out = append(out, found("wrong-depth", wholeFile, allChannels, r,
				"The file holds %d-bit floating point, the machine plays %d-bit integers.", info.BitDepth, m.BitDepth))
		case info.BitDepth > 0 && info.BitDepth != m.BitDepth:
			out = append(out, found("wrong-depth", wholeFile, allChannels, r,
				"The file has %d bits, the machine plays %d.", info.BitDepth, m.BitDepth))
		}
	}
	if m.Channels > 0 && info.Channels > m.Channels {
		out = append(out, found("wrong-channels", wholeFile, allChannels,
			reading{value: float64(info.Channels), limit: float64(m.Channels), unit: "channels"},
			"The file has %s, the machine %d.", plural(int64(info.Channels), "channel", "channels"), m.Channels))
	}
	return out
}

// Unreadable makes a finding of the error that opening or reading a file gave.
// A *samples.TruncatedError becomes "truncated", anything else "unreadable".
func Unreadable(err error) Finding {
	var cut *samples.TruncatedError
	if !errors.As(err, &cut) {
		return found("unreadable", wholeFile, allChannels, noReading, "%s.", sentence(err.Error()))
	}
	r := reading{value: float64(cut.Got), limit: float64(cut.Promised), unit: "frames"}
	if cut.Promised <= 0 {
		r.limit = math.NaN()
	}
	return found("truncated", wholeFile, allChannels, r, "%s.", sentence(cut.Error()))
}

// OddHeader makes one finding of what a reader remarked on a file's headers;
// none for no remarks.
func OddHeader(remarks []string) []Finding {
	if len(remarks) == 0 {
		return nil
	}
	const shown = 3
	text := make([]string, 0, shown)
	for _, r := range remarks[:min(shown, len(remarks))] {
		text = append(text, sentence(r)+".")
	}
	if n := len(remarks) - shown; n > 0 {
		text = append(text, plural(int64(n), "more remark.", "more remarks."))
	}
	return []Finding{found("odd-header", wholeFile, allChannels, noReading, "%s", strings.Join(text, " "))}
}

// sentence gives text a capital and takes its full stop away.
func sentence(s string) string {
	s = strings.TrimRight(strings.TrimSpace(s), ".")
	if s == "" {
		return "No reason is known"
	}
	r := []rune(s)
	r[0] = []rune(strings.ToUpper(string(r[0])))[0]
	return string(r)
}

// Located is a finding about one file among others.
type Located struct {
	Path string
	Finding
}

// SortLocated orders findings by path, then as [Sort] does.
func SortLocated(fs []Located) {
	slices.SortStableFunc(fs, func(a, b Located) int { return strings.Compare(a.Path, b.Path) })
}

// Twin is a sound by what is in it: equal Content means equal sound.
type Twin struct {
	Path    string
	Content string // a hash of rate, channels and samples; empty = unknown
}

// CheckTwins reports files that hold the same sound as one before them in
// order of path.
func CheckTwins(sounds []Twin) []Located {
	sounds = slices.Clone(sounds)
	slices.SortFunc(sounds, func(a, b Twin) int { return strings.Compare(a.Path, b.Path) })
	first := make(map[string]string, len(sounds))
	var out []Located
	for _, s := range sounds {
		if s.Content == "" {
			continue
		}
		if p, ok := first[s.Content]; ok && p != s.Path {
			out = append(out, Located{s.Path, found("same-sound-twice", wholeFile, allChannels, noReading,
				"It holds the same sound as %s.", quoted(p))})
			continue
		}
		first[s.Content] = s.Path
	}
	return out
}

func quoted(s string) string { return fmt.Sprintf("%q", s) }
