package preflight

import (
	"encoding/xml"
	"fmt"
	"io"
)

// The shape that build servers read; there is no standard, the elements are
// those of the Apache Ant task that began it (common practice, no source).
type (
	junitSuites struct {
		XMLName  xml.Name     `xml:"testsuites"`
		Name     string       `xml:"name,attr"`
		Tests    int          `xml:"tests,attr"`
		Failures int          `xml:"failures,attr"`
		Skipped  int          `xml:"skipped,attr"`
		Suites   []junitSuite `xml:"testsuite"`
	}
	junitSuite struct {
		Name     string      `xml:"name,attr"`
		Tests    int         `xml:"tests,attr"`
		Failures int         `xml:"failures,attr"`
		Skipped  int         `xml:"skipped,attr"`
		Cases    []junitCase `xml:"testcase"`
	}
	junitCase struct {
		Name    string        `xml:"name,attr"`
		Class   string        `xml:"classname,attr"`
		Time    string        `xml:"time,attr"`
		Failure *junitMessage `xml:"failure,omitempty"`
		Skipped *junitMessage `xml:"skipped,omitempty"`
		Out     string        `xml:"system-out,omitempty"`
	}
	junitMessage struct {
		Message string `xml:"message,attr"`
		Text    string `xml:",chardata"`
	}
)

// WriteJUnit writes the checks as test cases: a failed one fails, a warning
// passes with its text as output.
func (p Report) WriteJUnit(w io.Writer) error {
	all := junitSuites{Name: "enbloc preflight of " + p.Target}
	at := map[string]int{}
	for _, c := range p.Checks {
		i, ok := at[c.Group]
		if !ok {
			i = len(all.Suites)
			at[c.Group] = i
			all.Suites = append(all.Suites, junitSuite{Name: c.Group})
		}
		s := &all.Suites[i]
		one := junitCase{Name: c.Title, Class: "preflight." + c.ID, Time: fmt.Sprintf("%.3f", float64(c.Millis)/1000), Out: c.Found}
		s.Tests++
		all.Tests++
		switch c.Status {
		case Fail:
			one.Failure = &junitMessage{c.Found, c.Remedy}
			s.Failures++
			all.Failures++
		case Skip:
			one.Skipped = &junitMessage{Message: c.Found}
			s.Skipped++
			all.Skipped++
		}
		s.Cases = append(s.Cases, one)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return fmt.Errorf("writing JUnit report: %w", err)
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(all); err != nil {
		return fmt.Errorf("writing JUnit report: %w", err)
	}
	_, err := io.WriteString(w, "\n")
	return err
}
