package audit

import (
	"maps"
	"path/filepath"
	"slices"

	"tachbench/analysis/defect"
	"tachbench/samples/sheet"
)

// place gives every entry its category and what it is judged by.
func (l *listing) place(fallback string) error {
	plain, err := defect.NewOptions(defect.KindOf(fallback), nil)
	if err != nil {
		return err
	}
	known := map[string]entry{}
	if l.sheet != nil {
		if known, err = placesOf(l.sheet); err != nil {
			return err
		}
	}
	for i := range l.entries {
		e := &l.entries[i]
		k, ok := known[e.abs]
		if !ok {
			e.category, e.opt = fallback, plain
			if l.sheet != nil {
				e.machine = machineOf(l.sheet)
			}
			continue
		}
		e.category, e.standIn, e.recording, e.loop, e.opt, e.machine = k.category, k.standIn, k.recording, k.loop, k.opt, k.machine
		if e.category == "" && !e.recording {
			e.category = fallback
			e.opt.Kind = plain.Kind
		}
		e.opt.WholeLoop = e.loop
	}
	return nil
}

func machineOf(s *sheet.Sheet) defect.Machine {
	return defect.Machine{RateHz: s.SampleRateHz, BitDepth: s.BitDepth}
}

// placesOf says for every sound of the sheet, by absolute path, what it is.
func placesOf(s *sheet.Sheet) (map[string]entry, error) {
	known := map[string]entry{}
	engine := defect.Options{Kind: defect.Engine}
	for i := range s.Categories {
		c := &s.Categories[i]
		opt, err := optionsOf(s, c)
		if err != nil {
			return nil, err
		}
		if c.Name == defect.Engine.String() {
			engine = opt
		}
		for _, f := range c.Files {
			known[f.Abs] = entry{category: c.Name, standIn: f.StandIn, opt: opt, machine: machineOf(s)}
		}
	}
	if s.Engine != nil {
		for _, r := range s.Engine.Recordings {
			if _, listed := known[r.File.Abs]; !listed {
				known[r.File.Abs] = entry{category: defect.Engine.String(), recording: true, opt: engine}
			}
		}
	}
	for _, scene := range s.Scenes {
		for _, q := range scene.Cues {
			if q.Sound == nil {
				continue
			}
			e, ok := known[q.Sound.Abs]
			if !ok {
				e.machine = machineOf(s)
			}
			e.loop = e.loop || q.Loop
			known[q.Sound.Abs] = e
		}
	}
	return known, nil
}

// optionsOf turns a category's limits into options, key by key so that an
// error can name the line.
func optionsOf(s *sheet.Sheet, c *sheet.Category) (defect.Options, error) {
	kind := defect.KindOf(c.Name)
	limits := map[string]float64{"tolerance_lu": c.ToleranceLU}
	var errs sheet.Errors
	for _, key := range slices.Sorted(maps.Keys(c.Limits)) {
		if _, err := defect.NewOptions(kind, map[string]float64{key: c.Limits[key]}); err != nil {
			errs = append(errs, s.Errorf(sheet.JoinKey(c.Key+".limits", key), "%v", err))
			continue
		}
		limits[key] = c.Limits[key]
	}
	if errs != nil {
		return defect.Options{}, errs
	}
	return defect.NewOptions(kind, limits)
}

// relative names a sound of the sheet's package as it is shown.
func (l *listing) relative(rel string) string {
	return filepath.Join(filepath.Dir(l.sheet.File), filepath.FromSlash(rel))
}
