package fhir

import (
	"bytes"
	"slices"
	"strings"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// Earlier is the case as it would stand today with an earlier revision of its
// report: that revision merged with today's parts, and what the rules answer.
type Earlier struct {
	Report  report.Report
	Results []assess.Result
}

// version is what one revision of the report says, by role.
type version struct {
	status string // of the report's facts in this revision
	issued string
	facts  map[string]string // the Observations without status and time of issue
}

// settled is where a fact got its present content.
type settled struct {
	at     int // index of the version
	status string
	issued string
}

// keepUnchanged gives every Observation of the endoscopist that a new revision
// of the report left as it was the status and the time of issue that it had: R4
// calls "amended" and "corrected" what has itself been modified
// (hl7.org/fhir/R4/valueset-observation-status.html). A panel goes with its
// members, and a result of a rule that also rests on histology is no further
// than the histology.
//
// Revisions are compared with each other, each under today's parts, and never
// with what was delivered, so the order in which documents came leaves no
// trace. Drafts are no versions: nothing is amended before it is final. Where
// no earlier signed revision is known, what changed is not known either, and
// everything has the report's own status.
func (m *mapper) keepUnchanged() {
	if m.err != nil || len(m.opt.Earlier) == 0 || !isVersion(m.rep.Status) {
		return
	}
	var versions []version
	for _, e := range m.opt.Earlier {
		if v, ok := m.versionOf(e); ok {
			versions = append(versions, v)
		}
	}
	if len(versions) == 0 {
		return
	}
	versions = append(versions, m.version())
	if m.err != nil {
		return
	}
	verdicts := map[string]settled{}
	for i, r := range m.made {
		if !m.ofReport(r) {
			continue
		}
		s := settle(r.Role, versions)
		if bytes.Contains(r.Body, []byte(`"hasMember"`)) {
			for _, member := range m.made[:i] { // members are made before their panel
				if of := verdicts[member.Role]; of.at > s.at && bytes.Contains(r.Body, []byte(member.UUID)) {
					s = of
				}
			}
		}
		verdicts[r.Role] = s
		m.restate(i, s)
	}
}

// isVersion reports whether a revision in this state is a version of its facts.
func isVersion(s report.Status) bool {
	return s == report.Signed || s == report.Amended || s == report.Corrected
}

// versionOf maps an earlier revision. One that can not be mapped with today's
// parts says nothing about them.
func (m *mapper) versionOf(e Earlier) (version, bool) {
	state, err := statusesOf("report", string(e.Report.Status))
	if err != nil || !isVersion(e.Report.Status) {
		return version{}, false
	}
	other := newMapper(e.Report, e.Results, m.opt, state)
	other.facts()
	v := other.version()
	return v, other.err == nil
}

// version collects the facts as they are mapped.
func (m *mapper) version() version {
	v := version{status: m.state.Observation, issued: m.issued, facts: map[string]string{}}
	for _, r := range m.made {
		if !m.ofReport(r) {
			continue
		}
		o, err := model.ParseObject(r.Body)
		if err != nil {
			m.fail(err)
			return v
		}
		o.Delete(func(name string) bool { return name == "status" || name == "issued" })
		body, err := o.JSON()
		if err != nil {
			m.fail(err)
			return v
		}
		v.facts[r.Role] = string(body)
	}
	return v
}

// ofReport reports whether a resource has the report's status: the facts of
// the endoscopist, and every result of a rule but those about events.
func (m *mapper) ofReport(r made) bool {
	return r.Type == "Observation" && !strings.HasPrefix(r.part, "event/") &&
		(r.part == partReport || isDerived(r))
}

// settle finds the version in which a fact got its present content.
func settle(role string, versions []version) settled {
	s := settled{0, versions[0].status, versions[0].issued}
	for i := 1; i < len(versions); i++ {
		before, was := versions[i-1].facts[role]
		if now, is := versions[i].facts[role]; was != is || before != now {
			s = settled{i, versions[i].status, versions[i].issued}
		}
	}
	return s
}

// restate writes status and time of issue into a resource that has been made.
func (m *mapper) restate(i int, s settled) {
	r := &m.made[i]
	status := s.status
	if r.part != partReport { // a result that rests on histology, issued with it
		at := slices.IndexFunc(m.rep.Lesions, func(l report.Lesion) bool { return histologyPart(l) == r.part })
		if at < 0 {
			return
		}
		histology, err := histologyStatus(m.rep.Lesions[at].Histology.Status)
		if err != nil {
			m.fail(err)
		}
		status, s.issued = least(status, histology), ""
	}
	o, err := model.ParseObject(r.Body)
	if err != nil {
		m.fail(err)
		return
	}
	o.Set("status", status)
	if s.issued != "" && o.Get("issued") != nil {
		o.Set("issued", s.issued)
	}
	body, err := o.JSON()
	if err != nil {
		m.fail(err)
		return
	}
	r.Body = body
}
