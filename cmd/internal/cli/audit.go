package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"tachbench/analysis/defect"
	"tachbench/cmd/internal/auditpage"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/audit"
	"tachbench/samples/file"
)

// auditOptions is what the flags of audit say.
type auditOptions struct {
	paths    []string
	sheet    string
	category string
	failOn   severityValue
	jobs     int
	all      bool
	json     bool
	junit    string
	csv      string
	page     string
	quiet    bool
	force    bool
	noCache  bool
}

// cacheVariable names the folder in which audits remember what they measured.
const cacheVariable = "TACHBENCH_CACHE"

// cacheDir is "" if nothing is to be remembered, or there is no place for it.
func (o auditOptions) cacheDir() string {
	if o.noCache {
		return ""
	}
	if dir := os.Getenv(cacheVariable); dir != "" {
		return dir
	}
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "tachbench", "audit")
}

func newAudit(s Streams, run func(context.Context, Streams, auditOptions) error) *cobra.Command {
	o := auditOptions{failOn: severityValue{defect.Error.String()}}
	cmd := &cobra.Command{
		Use:   "audit PATH...",
		Short: "Levels and defects of sound files, folders or a whole package",
		Long: `Measures every sound and looks for defects. A PATH is a sound file, a folder
(searched through), or a sound sheet. A sheet, or a folder that holds a
soundsheet.toml, stands for its whole package: categories, targets and limits
come from the sheet; files that it never uses are reported, and entries of it
without a file are findings of severity error.

A sound that cannot be read is a finding of severity error. A PATH that is not
there is bad input (status 2); the others are audited all the same.

--csv writes one row a finding, with the file's measures repeated in each row,
and one row for a file without findings.

What was measured is remembered by content, limits and program version, at most
256 MB in the user's cache folder or in $TACHBENCH_CACHE.`,
		Example: `  tachbench audit soundsheet.toml --report audit.html
  tachbench audit callouts/ --category callout --fail-on warning
  tachbench audit a.wav b.flac --sheet soundsheet.toml --json
  tachbench audit . --junit audit.xml --quiet`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.paths = args
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.sheet, "sheet", "", "judge the PATHs by this sound `SHEET`;\nwithout a PATH, audit its whole package")
	f.StringVar(&o.category, "category", "", "category of sounds that no sheet places: callout,\neffect, music, engine or any other `NAME`")
	f.Var(&o.failOn, "fail-on", "exit status 1 from this severity on: error,\nwarning or never")
	f.BoolVar(&o.json, "json", false, "one JSON document on standard output")
	f.StringVar(&o.page, "report", "", "write a page with charts to `FILE.html`")
	f.StringVar(&o.junit, "junit", "", "write a report for build servers to `FILE`.xml")
	f.StringVar(&o.csv, "csv", "", "write a table for spreadsheets to `FILE`.csv")
	f.BoolVar(&o.all, "all", false, "list every sound and every place, however many")
	f.Var(wholeValue{&o.jobs, "N"}, "jobs", "sounds measured at once; one a core if left out")
	f.BoolVar(&o.noCache, "no-cache", false, "measure every sound anew")
	f.BoolVarP(&o.quiet, "quiet", "q", false, "only the last line of the table, and no progress")
	f.BoolVar(&o.force, "force", false, "replace files that exist")
	return cmd
}

func runAudit(ctx context.Context, s Streams, o auditOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	bar := newAuditProgress(s, o.quiet)
	var res *audit.Result
	err := attend(ctx, func() error {
		var err error
		res, err = audit.Run(ctx, audit.Inputs{Paths: o.paths, Sheet: o.sheet, Category: o.category},
			audit.Options{Workers: o.jobs, Charts: o.page != "", CacheDir: o.cacheDir(), Progress: bar.show})
		return err
	})
	bar.end()
	if err != nil {
		return err
	}
	if res.Sheet != nil {
		for _, w := range res.Sheet.Warnings {
			s.complain(fmt.Errorf("warning: %w", w))
		}
	}
	// A sheet none of whose files are there has no sound, but errors to show.
	if errs, _, _ := res.Count(); len(res.Sounds) == 0 && len(res.Unreadable) == 0 && errs == 0 {
		return fmt.Errorf("audit: no sound in %s", strings.Join(o.named(), ", "))
	}
	if err := o.print(s, res); err != nil {
		return outError(err)
	}
	if err := o.write(ctx, s, res); err != nil {
		return err
	}
	return o.verdict(s, res)
}

// print writes the result to standard output.
func (o auditOptions) print(s Streams, res *audit.Result) error {
	if o.json {
		return report.WriteJSON(s.Out, report.NewAuditDocument(res))
	}
	return report.AuditText(s.Out, res, report.AuditTextOptions{Quiet: o.quiet, All: o.all})
}

// write writes the files that were asked for.
func (o auditOptions) write(ctx context.Context, s Streams, res *audit.Result) error {
	for _, w := range []struct {
		path string
		make func(io.Writer) error
	}{
		{o.csv, func(w io.Writer) error { return report.AuditCSV(w, res) }},
		{o.junit, func(w io.Writer) error { return report.AuditJUnit(w, res, o.failOn.least()) }},
		{o.page, func(w io.Writer) error { return auditpage.Write(w, res) }},
	} {
		if w.path == "" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		var buf bytes.Buffer
		if err := w.make(&buf); err != nil {
			return fmt.Errorf("%s: %w", w.path, err)
		}
		if err := file.WriteBytes(w.path, buf.Bytes(), o.force); err != nil {
			return err
		}
		if !o.quiet {
			s.note("wrote " + w.path)
		}
	}
	return nil
}

// verdict is the error that stands for the exit status.
func (o auditOptions) verdict(s Streams, res *audit.Result) error {
	if n := res.MissingPaths(); n > 0 {
		var errs []error
		for _, u := range res.Unreadable {
			if u.Missing {
				errs = append(errs, fmt.Errorf("%s: %w", u.Path, u.Err))
			}
		}
		return errors.Join(errs...)
	}
	errs, warnings, _ := res.Count()
	switch least := o.failOn.least(); {
	case errs > 0 && least <= defect.Error, warnings > 0 && least <= defect.Warning:
		return errFindings
	}
	return nil
}

func (o auditOptions) named() []string {
	if len(o.paths) == 0 {
		return []string{o.sheet}
	}
	return o.paths
}

// check refuses what can be seen to fail before anything is measured.
func (o auditOptions) check() error {
	if len(o.paths) == 0 && o.sheet == "" {
		return errors.New("audit: nothing named; give a sound file, a folder or a sheet (. is this folder)")
	}
	if o.jobs < 0 || o.jobs > 8*runtime.NumCPU() {
		return fmt.Errorf("audit: --jobs %d: can be 1 to %d here", o.jobs, 8*runtime.NumCPU())
	}
	taken := map[string]string{}
	for _, out := range []struct {
		flag, path string
		suffixes   []string
	}{
		{"--report", o.page, []string{".html", ".htm"}},
		{"--junit", o.junit, []string{".xml"}},
		{"--csv", o.csv, []string{".csv"}},
	} {
		if out.path == "" {
			continue
		}
		if !hasSuffix(out.path, out.suffixes) {
			return fmt.Errorf("%s %s: its name must end in %s", out.flag, out.path, out.suffixes[0])
		}
		if other, ok := taken[filepath.Clean(out.path)]; ok {
			return fmt.Errorf("%s %s: %s is to be written there already", out.flag, out.path, other)
		}
		taken[filepath.Clean(out.path)] = out.flag
		if err := checkOutput(out.flag, out.path, o.paths, o.force); err != nil {
			return err
		}
	}
	return nil
}

func hasSuffix(path string, suffixes []string) bool {
	for _, s := range suffixes {
		if strings.EqualFold(filepath.Ext(path), s) {
			return true
		}
	}
	return false
}

// severityValue is the flag --fail-on.
type severityValue struct{ word string }

func (v *severityValue) String() string { return v.word }
func (v *severityValue) Type() string   { return "SEVERITY" }
func (v *severityValue) Set(s string) error {
	switch s {
	case "error", "warning", "never":
		v.word = s
		return nil
	}
	return errors.New("can be error, warning or never")
}

// least is the lowest severity that fails; above all of them for never.
func (v severityValue) least() defect.Severity {
	switch v.word {
	case "warning":
		return defect.Warning
	case "never":
		return defect.Error + 1
	}
	return defect.Error
}
