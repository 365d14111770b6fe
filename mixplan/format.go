package mixplan

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
)

// Format writes the plan as plan.toml, with the reason for each number behind
// it. Parse gives the same plan again, without the reasons.
func Format(p *Plan) []byte {
	var b bytes.Buffer
	b.WriteString("# A mix plan. Every number may be changed; the next mix honours it.\n\n")
	if p.Title != "" {
		fmt.Fprintf(&b, "title = %s\n", quote(p.Title))
	}
	line(&b, "bus_gain_db", p.BusGainDB, or(p.BusGainWhy, "dB, gain of the sum of everything"))
	if len(p.Priorities) > 0 {
		b.WriteString("\n[priority]  # higher wins when sounds meet\n")
		for _, q := range p.Priorities {
			fmt.Fprintf(&b, "%s = %d\n", quote(q.Category), q.Value)
		}
	}
	for _, t := range p.Trims {
		b.WriteString("\n[[trim]]\n")
		if t.Path != "" {
			fmt.Fprintf(&b, "path = %s\n", quote(t.Path))
		}
		fmt.Fprintf(&b, "category = %s\n", quote(t.Category))
		line(&b, "trim_db", t.TrimDB, t.Why)
	}
	for _, d := range p.Ducks {
		b.WriteString("\n[[ducking]]\n")
		fmt.Fprintf(&b, "under = %s%s\n", quote(d.Under), comment(or(d.Why["under"], "while this category speaks")))
		fmt.Fprintf(&b, "category = %s%s\n", quote(d.Category), comment(or(d.Why["category"], "this one yields")))
		line(&b, "depth_db", d.DepthDB, d.Why["depth_db"])
		line(&b, "attack_ms", d.AttackMS, d.Why["attack_ms"])
		line(&b, "hold_ms", d.HoldMS, d.Why["hold_ms"])
		line(&b, "release_ms", d.ReleaseMS, d.Why["release_ms"])
		line(&b, "lookahead_ms", d.LookaheadMS, d.Why["lookahead_ms"])
		if d.Dip != nil {
			line(&b, "dip_low_hz", d.Dip.LowHz, or(d.Why["dip_low_hz"], "only this band yields"))
			line(&b, "dip_high_hz", d.Dip.HighHz, d.Why["dip_high_hz"])
		}
	}
	return b.Bytes()
}

func line(b *bytes.Buffer, key string, v float64, why string) {
	if v == 0 {
		v = 0 // no negative zero
	}
	fmt.Fprintf(b, "%s = %s%s\n", key, number(v), comment(why))
}

// comment makes a remark of one line, nothing for an empty one.
func comment(s string) string {
	s = strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, s)), " ")
	if s == "" {
		return ""
	}
	return "  # " + s
}

// quote writes a TOML basic string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case unicode.IsControl(r):
			fmt.Fprintf(&b, "\\u%04X", r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
