package mixplan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"tachbench/samples/sheet"
)

// maxDipOfRate keeps a dip's upper edge clear of half the sample rate, where
// its shape could not be kept.
const maxDipOfRate = 0.45

// Fit checks a plan against the sheet that it is to be used with: categories
// and files that are there, nobody yielding to a lower priority, dips within
// the machine's rate. The error is a sheet.Errors.
func (p *Plan) Fit(sh *sheet.Sheet) error {
	var errs sheet.Errors
	fail := func(key, text, hint string) {
		if len(errs) < maxProblems {
			errs = append(errs, p.fault(key, text, hint))
		}
	}
	var names []string
	home := map[string]string{} // file → category
	for _, c := range sh.Categories {
		names = append(names, c.Name)
		for _, f := range c.Files {
			home[f.Rel] = c.Name
		}
	}
	if sh.Engine != nil && !slices.Contains(names, Engine) {
		names = append(names, Engine)
	}
	category := func(key, name string) {
		if !slices.Contains(names, name) {
			fail(key, strconv.Quote(name)+" is no category of "+sh.File, "it has "+strings.Join(names, ", "))
		}
	}
	for _, q := range p.Priorities {
		category(sheet.JoinKey("priority", q.Category), q.Category)
	}
	for i, t := range p.Trims {
		key := entryKey("trim", i+1)
		category(key+".category", t.Category)
		if c, ok := home[t.Path]; t.Path != "" && !ok {
			fail(key+".path", strconv.Quote(t.Path)+" is in no category of "+sh.File, "")
		} else if t.Path != "" && c != t.Category {
			fail(key+".category", strconv.Quote(t.Path)+" belongs to category "+strconv.Quote(c)+", not "+strconv.Quote(t.Category), "")
		}
	}
	for i, d := range p.Ducks {
		key := entryKey("ducking", i+1)
		category(key+".under", d.Under)
		category(key+".category", d.Category)
		under, underGiven := p.Priority(sh, d.Under)
		yields, yieldsGiven := p.Priority(sh, d.Category)
		if underGiven && yieldsGiven && yields > under {
			fail(key+".category", fmt.Sprintf("%s (priority %d) would yield to %s (priority %d)", d.Category, yields, d.Under, under), "the higher priority wins")
		}
		if d.Dip != nil && d.Dip.HighHz > maxDipOfRate*float64(sh.SampleRateHz) {
			fail(key+".dip_high_hz", fmt.Sprintf("must be at most %s Hz at a sample rate of %d Hz, not %s", number(maxDipOfRate*float64(sh.SampleRateHz)), sh.SampleRateHz, number(d.Dip.HighHz)), "")
		}
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

// Priority returns the priority of a category: the plan's, else the sheet's;
// false if neither gives one. A nil plan gives none.
func (p *Plan) Priority(sh *sheet.Sheet, category string) (int, bool) {
	if p != nil {
		for _, q := range p.Priorities {
			if q.Category == category {
				return q.Value, true
			}
		}
	}
	if c := sh.Category(category); c != nil && sh.Has(sheet.JoinKey(c.Key, "priority")) {
		return c.Priority, true
	}
	return 0, false
}
