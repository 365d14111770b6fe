package report

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/mixplan/audit"
)

// RuleGroup is all that one rule found.
type RuleGroup struct {
	Rule   defect.Rule
	Places []RulePlace // by path, then place
	Files  int         // how many files they are in
}

// About counts places and files in words.
func (g RuleGroup) About() string {
	about := counted(len(g.Places), "place")
	if g.Files > 0 {
		about += " in " + counted(g.Files, "file")
	}
	return about
}

// RulePlace is one finding of a rule.
type RulePlace struct {
	Path, Category string // either may be empty
	Finding        defect.Finding
	What           string // what was found here, without why and what to do
	Mono           bool   // the file has one channel, which needs no mention
}

// Where names the place in words: file, time, channel.
func (p RulePlace) Where() string {
	where := Printable(p.Path)
	if p.Path == "" {
		where = "category " + Printable(p.Category)
	}
	if at := p.At(); at != "" {
		where += ", " + at
	}
	return where
}

// At says when and in which channel the finding is, "" for the whole file.
func (p RulePlace) At() string { return PlaceWords(p.Finding, p.Mono) }

// PlaceWords says when and in which channel a finding is, "" for the whole
// file. Channels are counted from 1, as people do; the only one of a mono file
// is not mentioned.
func PlaceWords(f defect.Finding, mono bool) string {
	var words []string
	if !math.IsNaN(f.AtS) {
		words = append(words, fmt.Sprintf("%.3f s", f.AtS))
	}
	if f.Channel >= 0 && !mono {
		words = append(words, fmt.Sprintf("channel %d", f.Channel+1))
	}
	return strings.Join(words, ", ")
}

// WhatFound is the first part of a message: what is wrong here. The rest, why
// it matters and what to do, is the same for all findings of a rule.
func WhatFound(f defect.Finding) string {
	rule, ok := defect.RuleByID(f.Rule)
	if !ok {
		return f.Message
	}
	return strings.TrimSuffix(f.Message, " "+rule.Why+" "+rule.Do)
}

// ByRule sorts all findings of an audit under their rules: worst first, then
// those found most often, then by id.
func ByRule(r *audit.Result) []RuleGroup {
	places := map[string][]RulePlace{}
	add := func(path, category string, f defect.Finding, mono bool) {
		places[f.Rule] = append(places[f.Rule], RulePlace{path, category, f, WhatFound(f), mono})
	}
	for _, u := range r.Unreadable {
		add(u.Path, u.Category, u.Finding, false)
	}
	for i := range r.Sounds {
		s := &r.Sounds[i]
		for _, f := range s.Findings {
			add(s.Path, s.Category, f, s.Info.Channels == 1)
		}
	}
	for _, f := range r.Package {
		add(f.Path, f.Category, f.Finding, false)
	}
	var out []RuleGroup
	for _, rule := range defect.Rules() {
		ps := places[rule.ID]
		if ps == nil {
			continue
		}
		slices.SortStableFunc(ps, func(a, b RulePlace) int { return strings.Compare(a.Path, b.Path) })
		g := RuleGroup{Rule: rule, Places: ps}
		for i, p := range ps {
			if p.Path != "" && (i == 0 || p.Path != ps[i-1].Path) {
				g.Files++
			}
		}
		out = append(out, g)
	}
	slices.SortStableFunc(out, func(a, b RuleGroup) int {
		return cmp.Or(cmp.Compare(b.Rule.Severity, a.Rule.Severity), cmp.Compare(len(b.Places), len(a.Places)), strings.Compare(a.Rule.ID, b.Rule.ID))
	})
	return out
}

// CommonFolder returns the folder that all paths of an audit lie in, with a
// slash behind it, if leaving it out makes lines shorter; else "".
func CommonFolder(r *audit.Result) string {
	var all []string
	for _, s := range r.Sounds {
		all = append(all, s.Path)
	}
	for _, u := range r.Unreadable {
		all = append(all, u.Path)
	}
	for _, f := range r.Package {
		if f.Path != "" {
			all = append(all, f.Path)
		}
	}
	if len(all) == 0 {
		return ""
	}
	common := all[0]
	for _, p := range all {
		n := 0
		for n < min(len(common), len(p)) && common[n] == p[n] {
			n++
		}
		common = common[:n]
	}
	common = common[:strings.LastIndexByte(filepath.ToSlash(common), '/')+1]
	if len(common) < 5 { // hardly worth a line of its own
		return ""
	}
	return common
}
