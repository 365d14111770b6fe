package audit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tachbench/analysis/defect"
)

// judge adds what can only be seen from all sounds together.
func judge(res *Result, l *listing, fallback string) {
	at := make(map[string]int, len(res.Sounds))
	for i, s := range res.Sounds {
		at[s.Path] = i
	}
	attach := func(category string, fs ...defect.Located) {
		for _, f := range fs {
			if i, ok := at[f.Path]; ok {
				res.Sounds[i].Findings = append(res.Sounds[i].Findings, f.Finding)
				continue
			}
			res.Package = append(res.Package, Located{Path: f.Path, Category: category, Finding: f.Finding})
		}
	}
	judgeCategories(res, l, fallback, attach)

	twins := make([]defect.Twin, len(res.Sounds))
	for i, s := range res.Sounds {
		twins[i] = defect.Twin{Path: s.Path, Content: s.content}
	}
	attach("", defect.CheckTwins(twins)...)
	attach("", judgeNames(l)...)
	if l.whole {
		used := make([]string, 0, len(l.entries))
		for _, e := range l.entries {
			if e.root == 0 {
				used = append(used, e.name)
			}
		}
		for _, f := range defect.CheckFolder(append(slices.Clone(used), l.unused...), used) {
			f.Path = l.relative(f.Path)
			attach("", f)
		}
		judgeAbsent(res, l)
	}
	for i := range res.Sounds {
		defect.Sort(res.Sounds[i].Findings)
	}
	slices.SortStableFunc(res.Package, func(a, b Located) int {
		if a.Severity != b.Severity {
			return int(b.Severity) - int(a.Severity)
		}
		return strings.Compare(a.Path, b.Path)
	})
}

// judgeAbsent reports the entries of the sheet that no file goes with. They
// stand by the path or pattern as the sheet writes it.
func judgeAbsent(res *Result, l *listing) {
	for _, e := range l.absent {
		category := ""
		for i := range l.sheet.Categories {
			if c := &l.sheet.Categories[i]; strings.HasPrefix(e.Key, c.Key+".") {
				category = c.Name
			}
		}
		text := e.Text
		if e.Hint != "" {
			text += "; " + e.Hint
		}
		place := fmt.Sprintf("%s:%d:%d %s", e.File, e.Line, e.Col, e.Key)
		res.Package = append(res.Package, Located{Path: l.relative(e.Path), Category: category, Finding: defect.MissingEntry(place, text)})
	}
}

// judgeNames checks the names below each root on their own: what lies above
// is not part of the package.
func judgeNames(l *listing) []defect.Located {
	byRoot := make([][]string, len(l.roots))
	shown := make([]map[string]string, len(l.roots))
	for i := range shown {
		shown[i] = map[string]string{}
	}
	for _, e := range l.entries {
		byRoot[e.root] = append(byRoot[e.root], e.name)
		shown[e.root][e.name] = e.path
	}
	if l.whole {
		for _, rel := range l.unused {
			byRoot[0] = append(byRoot[0], rel)
			shown[0][rel] = l.relative(rel)
		}
	}
	var out []defect.Located
	for i, names := range byRoot {
		for _, f := range defect.CheckNames(names, defect.Options{}) {
			f.Path = shown[i][f.Path]
			out = append(out, f)
		}
	}
	return out
}

// judgeCategories checks levels against targets, medians and spread.
func judgeCategories(res *Result, l *listing, fallback string, attach func(string, ...defect.Located)) {
	judgeOne := func(name string, target, tolerance float64, opt defect.Options) {
		c := Category{Name: name, TargetLUFS: target, ToleranceLU: tolerance, MedianLUFS: math.NaN()}
		var all, final []defect.Loud
		for i := range res.Sounds {
			s := &res.Sounds[i]
			if s.Category != name || s.Recording {
				continue
			}
			loud := defect.Loud{Path: s.Path, LUFS: s.Levels.IntegratedLUFS.Value}
			all = append(all, loud)
			if s.StandIn {
				c.StandIns++
				continue
			}
			final = append(final, loud)
		}
		c.Sounds = len(all)
		c.MedianLUFS = median(final)
		judged := all
		if math.IsNaN(target) {
			judged = final
		}
		attach(name, defect.CheckLoudness(judged, target, opt)...)
		for _, f := range defect.CheckSpread(name, final, opt) {
			attach(name, defect.Located{Finding: f})
		}
		res.Categories = append(res.Categories, c)
	}
	if l.sheet != nil {
		for i := range l.sheet.Categories {
			c := &l.sheet.Categories[i]
			opt, err := optionsOf(l.sheet, c)
			if err != nil {
				panic(err) // place has looked
			}
			target, tolerance := math.NaN(), math.NaN()
			if c.TargetLUFS != nil {
				target, tolerance = *c.TargetLUFS, opt.Limit("tolerance_lu")
			}
			judgeOne(c.Name, target, tolerance, opt)
		}
	}
	if fallback != "" && (l.sheet == nil || l.sheet.Category(fallback) == nil) {
		judgeOne(fallback, math.NaN(), math.NaN(), defect.Options{Kind: defect.KindOf(fallback)})
	}
}

// median of the sounds that could be measured, NaN if there are none.
func median(sounds []defect.Loud) float64 {
	var v []float64
	for _, s := range sounds {
		if !math.IsNaN(s.LUFS) && !math.IsInf(s.LUFS, 0) {
			v = append(v, s.LUFS)
		}
	}
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
