package report

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/mixplan/audit"
)

type junitDoc struct {
	XMLName  xml.Name     `xml:"testsuites"`
	Name     string       `xml:"name,attr"`
	Tests    int          `xml:"tests,attr"`
	Failures int          `xml:"failures,attr"`
	Errors   int          `xml:"errors,attr"`
	Suites   []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name     string      `xml:"name,attr"`
	Tests    int         `xml:"tests,attr"`
	Failures int         `xml:"failures,attr"`
	Errors   int         `xml:"errors,attr"`
	Cases    []junitCase `xml:"testcase"`
}

type junitCase struct {
	Class   string       `xml:"classname,attr"`
	Name    string       `xml:"name,attr"`
	Failure *junitResult `xml:"failure,omitempty"`
	Error   *junitResult `xml:"error,omitempty"`
	Out     string       `xml:"system-out,omitempty"`
}

type junitResult struct {
	Type    string `xml:"type,attr"`
	Message string `xml:"message,attr"`
	Body    string `xml:",chardata"`
}

// Names of the suites for what has no category.
const (
	suiteUncategorised = "no category"
	suitePackage       = "package"
)

// AuditJUnit writes a JUnit report: a suite for each category, and in it for
// each file one case for each rule that found something there, or one case
// that passes. Findings under the severity least pass, with their text as
// output. Names are unique; all findings of one rule in one file share a case.
// The message stands in the body too, as some servers show only that.
func AuditJUnit(w io.Writer, r *audit.Result, least defect.Severity) error {
	var order []string
	suites := map[string]*junitSuite{}
	suite := func(category, otherwise string) *junitSuite {
		if category == "" {
			category = otherwise
		}
		s, ok := suites[category]
		if !ok {
			s = &junitSuite{Name: Printable(category)}
			suites[category] = s
			order = append(order, category)
		}
		return s
	}
	for _, c := range r.Categories {
		suite(c.Name, "")
	}
	for i := range r.Sounds {
		s := &r.Sounds[i]
		to := suite(s.Category, suiteUncategorised)
		if len(s.Findings) == 0 {
			to.Cases = append(to.Cases, junitCase{Class: Printable(s.Path), Name: Printable(s.Path) + ": all checks"})
		}
		to.addFindings(s.Path, s.Findings, least, s.Info.Channels == 1)
	}
	for _, u := range r.Unreadable {
		to := suite(u.Category, suiteUncategorised)
		c := junitCase{Class: Printable(u.Path), Name: Printable(u.Path) + ": " + u.Finding.Rule}
		c.Error = &junitResult{u.Finding.Rule, Printable(u.Finding.Message), Printable(u.Finding.Message)}
		to.Cases = append(to.Cases, c)
	}
	for _, f := range r.Package {
		name := f.Path
		if name == "" {
			name = "category " + f.Category
		}
		suite(f.Category, suitePackage).addFindings(name, []defect.Finding{f.Finding}, least, false)
	}
	doc := junitDoc{Name: "tachbench audit"}
	for _, name := range order {
		s := suites[name]
		s.count()
		doc.Tests, doc.Failures, doc.Errors = doc.Tests+s.Tests, doc.Failures+s.Failures, doc.Errors+s.Errors
		doc.Suites = append(doc.Suites, *s)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	e := xml.NewEncoder(w)
	e.Indent("", " ")
	if err := e.Encode(doc); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func (s *junitSuite) addFindings(file string, fs []defect.Finding, least defect.Severity, mono bool) {
	file = Printable(file)
	at := map[string]int{}
	for _, f := range fs {
		line := f.Message
		if place := PlaceWords(f, mono); place != "" {
			line = place + ": " + f.Message
		}
		line = Printable(line)
		name := file + ": " + f.Rule
		i, ok := at[f.Rule]
		if !ok {
			i = len(s.Cases)
			at[f.Rule] = i
			s.Cases = append(s.Cases, junitCase{Class: file, Name: name})
		}
		c := &s.Cases[i]
		switch {
		case f.Severity < least:
			c.Out = joinLines(c.Out, f.Severity.String()+": "+line)
		case c.Failure == nil:
			c.Failure = &junitResult{f.Rule, line, f.Severity.String() + ": " + line}
		default:
			c.Failure.Body = joinLines(c.Failure.Body, f.Severity.String()+": "+line)
		}
	}
}

func joinLines(a, b string) string { return strings.TrimPrefix(a+"\n"+b, "\n") }

func (s *junitSuite) count() {
	seen := map[string]int{}
	for i := range s.Cases {
		c := &s.Cases[i]
		// Two names may be equal once they are printable.
		if seen[c.Name]++; seen[c.Name] > 1 {
			c.Name += fmt.Sprintf(" (%d)", seen[c.Name])
		}
		if c.Failure != nil {
			s.Failures++
		}
		if c.Error != nil {
			s.Errors++
		}
	}
	s.Tests = len(s.Cases)
}
