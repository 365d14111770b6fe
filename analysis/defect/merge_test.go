package defect

import "testing"

func TestFindingsOfAllChannelsBecomeOne(t *testing.T) {
	f := func(rule string, at float64, ch int, v float64) Finding {
		return Finding{Rule: rule, AtS: at, Channel: ch, Value: v}
	}
	in := []Finding{
		f("click", 1, 0, 0.2), f("click", 2, 0, 0.2), f("dc", wholeFile, 0, 0.02),
		f("click", 1.001, 1, 0.3), f("click", 2.5, 1, 0.3), f("dc", wholeFile, 1, -0.03),
	}
	out := mergeChannels(in, 2)
	want := []Finding{f("click", 1.001, -1, 0.3), f("click", 2, 0, 0.2), f("dc", wholeFile, -1, -0.03), f("click", 2.5, 1, 0.3)}
	if len(out) != len(want) {
		t.Fatalf("got %+v", out)
	}
	for i, w := range want {
		g := out[i]
		if g.Rule != w.Rule || !together(g.AtS, w.AtS) || g.Channel != w.Channel || g.Value != w.Value {
			t.Errorf("%d: got %+v, want %+v", i, g, w)
		}
	}
	if got := mergeChannels(in[:3], 1); len(got) != 3 || got[0].Channel != 0 {
		t.Errorf("mono: %+v", got)
	}
}
