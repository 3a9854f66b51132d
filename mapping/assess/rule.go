package assess

import (
	"slices"
	"strings"
)

// Scope is what a rule speaks about.
type Scope string

// Scopes. A rule over a series (a rate, an interval, a learning curve) needs
// many reports: the book lists it, and package stats computes it.
const (
	ScopeSession Scope = "session"
	ScopeLesion  Scope = "lesion"
	ScopeEvent   Scope = "event"
	ScopeSeries  Scope = "series"
)

// source is where a rule stands: the publication itself, never a copy of it.
type source struct {
	society   string // short name by which a site chooses: "JGES", "ESGE"
	short     string // society and year, for narrow tables: "JGES 2021"
	guideline string
	edition   string
	citation  string // author, journal, year, DOI or PMID
}

// rule is one published question that a report can answer.
type rule struct {
	id, title string
	from      source
	confirmed Confirmed // of the rule as a whole; a row may say otherwise
	scope     Scope
	cautions  []string
	notes     func(k *look) string // a caution that hangs on the case, or ""
	table     []Row
	applies   func(k *look) bool
	ask       func(r *rule, k *look) Result
}

// Row is one line of a rule's table as a department reads and signs it.
type Row struct {
	When      string    // the condition, in words
	Then      string    // the answer
	Confirmed Confirmed // how far this line is confirmed
}

// Cautions that stand on every answer.
const (
	cautionDecides = "Information for licensed clinicians, not an instruction: local protocol and, where treatment is at stake, the multidisciplinary board decide."
	cautionMemory  = "From memory, not confirmed against the publication: check before relying on it."
	cautionCopied  = "Only a third party's transcription of the source was read."
)

// result starts an answer with everything that the rule itself says.
func (r *rule) result(k *look) Result {
	out := Result{
		Rule: r.id, Title: r.title,
		Guideline: r.from.guideline, Short: r.from.short, Edition: r.from.edition, Source: r.from.citation,
		Confirmed: r.confirmed, Missing: []string{},
	}
	if k.lesion != nil {
		out.Lesion = k.lesion.Number
	}
	if k.event != nil {
		out.Event, out.Lesion = k.event.ID, k.event.Lesion
	}
	return out
}

// finish adds the cautions and makes sure that the answer names an input: at
// the least the one that made the rule apply.
func (r *rule) finish(k *look, out Result, own ...string) Result {
	out.Cautions = append([]string{cautionDecides}, r.cautions...)
	if r.notes != nil {
		own = append(own, r.notes(k))
	}
	for _, c := range own {
		if c != "" && !slices.Contains(out.Cautions, c) {
			out.Cautions = append(out.Cautions, c)
		}
	}
	switch out.Confirmed {
	case Memory:
		out.Cautions = append(out.Cautions, cautionMemory)
	case Transcription:
		out.Cautions = append(out.Cautions, cautionCopied)
	}
	if len(out.Inputs) == 0 {
		out.Inputs = []string{k.occasion()}
	}
	out.AnswerText = r.text(out)
	return out
}

// occasion is the pointer to what made a rule apply at all.
func (k *look) occasion() string {
	switch {
	case k.event != nil:
		return k.base + "/kind"
	case k.lesion != nil:
		return k.base + "/examination/organ"
	}
	return "/session/kind"
}

// undecided makes the answer of a rule that lacks an input.
func (r *rule) undecided(k *look, seen, open set, decides string, own ...string) Result {
	out := r.result(k)
	out.Answer = CannotBeAssessed
	out.Inputs = k.pointers(seen)
	out.Missing = k.gaps(open)
	out.Reason = "Cannot be assessed: " + k.lacking(open) + "."
	out.Decides = decides
	return r.finish(k, out, own...)
}

// unconcerned makes the answer of a rule that was asked and does not concern
// the lesion.
func (r *rule) unconcerned(k *look, reason string, pointers ...string) Result {
	out := r.result(k)
	out.Answer = NotApplicable
	out.Reason = reason
	out.Inputs = pointers
	return r.finish(k, out)
}

// lacking says which findings are missing and why, each name once: "size and
// ulceration not known; number of pieces not reported".
func (k *look) lacking(open set) string {
	var reasons []string
	names := map[string][]string{}
	for i := range k.n {
		if f := &k.found[i]; open&f.bit != 0 {
			reason := f.why
			if reason == "" {
				reason = "not reported in enough detail"
			}
			reasons = appendNew(reasons, reason)
			names[reason] = appendNew(names[reason], f.name)
		}
	}
	for i, reason := range reasons {
		reasons[i] = enumerated(names[reason]) + " " + reason
	}
	return strings.Join(reasons, "; ")
}

// names lists the names of the findings.
func (k *look) names(open set) string {
	var parts []string
	for i := range k.n {
		if f := &k.found[i]; open&f.bit != 0 {
			parts = appendNew(parts, f.name)
		}
	}
	return enumerated(parts)
}

// enumerated is "a", "a and b" or "a, b and c".
func enumerated(parts []string) string {
	last := len(parts) - 1
	if last < 1 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:last], ", ") + " and " + parts[last]
}

// figures lists the known figures among the findings: "size 28 mm, submucosal
// depth 420 µm".
func (k *look) figures(seen set) string {
	var parts []string
	for i := range k.n {
		f := &k.found[i]
		if seen&f.bit == 0 || f.isSign || !f.known() {
			continue
		}
		if f.lo == 0 && (f.unit == "µm" || f.unit == "mm") {
			continue // nothing has invaded, nothing is there to measure: the reason says so in words
		}
		between := " "
		if f.unit == "" || f.unit == "%" {
			between = ": "
		}
		parts = append(parts, f.name+between+f.measured(f.lo))
	}
	return strings.Join(parts, ", ")
}

// because closes a reason with the figures that it rests on.
func (k *look) because(reason string, seen set) string {
	if figures := k.figures(seen); figures != "" {
		return reason + " (" + figures + ")."
	}
	return reason + "."
}
