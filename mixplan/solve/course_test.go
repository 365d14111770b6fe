package solve

import (
	"context"
	"math"
	"strings"
	"testing"

	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
)

// A plan may let sounds yield to others than callouts, and callouts to others.
// Meetings and proof count that in, and the renders agree with both.
func TestYieldingToOthers(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the other tests go the same ways")
	}
	sh := withEngine(t)
	text := "bus_gain_db = -6\n"
	for _, d := range []struct{ under, category, rest string }{
		{"callout", "music", "depth_db = 4\n"},
		{"effect", "music", "depth_db = 9\ndip_low_hz = 400\ndip_high_hz = 5000\n"},
		{"effect", "engine", "depth_db = 7\n"},
		{"callout", "engine", "depth_db = 3\ndip_low_hz = 500\ndip_high_hz = 4000\n"},
		{"effect", "callout", "depth_db = 5\n"},
		{"music", "effect", "depth_db = 6\n"},
	} {
		text += "[[ducking]]\nunder = \"" + d.under + "\"\ncategory = \"" + d.category + "\"\n" + d.rest + "attack_ms = 120\nhold_ms = 250\nrelease_ms = 500\nlookahead_ms = 100\n"
	}
	plan, err := mixplan.Parse("plan.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := plan.Fit(sh); err != nil {
		t.Fatal(err)
	}
	check := func(p *mixplan.Plan) (*meet.Package, *Result) {
		pkg, err := meet.Read(context.Background(), sh, meet.Options{RPMSteps: 4})
		if err != nil {
			t.Fatal(err)
		}
		r, err := Check(context.Background(), pkg, sh, p, Options{Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		return pkg, r
	}
	pkg, r := check(plan)
	only := *plan
	only.Ducks = nil
	for _, d := range plan.Ducks {
		if d.Under == meet.Callout {
			only.Ducks = append(only.Ducks, d)
		}
	}
	_, less := check(&only)
	lib := scene.NewLibrary(sh.SampleRateHz)
	apart, moved := 0.0, 0.0
	for callout := range 2 {
		for step := range pkg.Steps() {
			tl, err := r.MeetingTimeline(pkg, sh, lib, callout, step)
			if err != nil {
				t.Fatal(err)
			}
			i, _ := r.cell(pkg, callout, step)
			want := r.met.planned[callout][i]
			got := indexOf(t, pkg, tl, r.Plan)
			apart, moved = max(apart, math.Abs(got-want)), max(moved, math.Abs(want-less.met.planned[callout][i]))
			if math.Abs(got-want) > ProofSII {
				t.Errorf("%s: %.3f on the render, %.3f in the meeting", tl.Name, got, want)
			}
		}
	}
	t.Logf("%.4f apart at most; the rules move it by up to %.3f", apart, moved)
	if moved < ProofSII {
		t.Error("the rules hardly matter: the case says nothing")
	}
	proof, err := Prove(context.Background(), pkg, sh, r, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !proof.Holds() || len(proof.Callouts) != 2 {
		t.Errorf("proof: %+v", proof.Callouts)
	}
	said := strings.Join(r.Notes, "\n")
	for _, want := range []string{"Category music also yields to effect: meetings, proof and headroom count that in", "Category callout also yields to effect"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said in %q", want, said)
		}
	}
	if strings.Contains(said, "yields to callout:") {
		t.Error(said)
	}
	// More level helps a callout that yields as it helps another.
	for _, s := range r.Shifts {
		if s.CalloutDB > 0 && !(s.Lowest > r.Shifts[0].Lowest) {
			t.Errorf("%s: %.3f, was %.3f", s.What, s.Lowest, r.Shifts[0].Lowest)
		}
	}
}
