package assess

import (
	"math"
	"strconv"

	"enbloc/mapping/report"
)

// maxFindings is how many findings one rule may look for.
const maxFindings = 32

// look is one rule looking at one lesion, one event or the session. Findings
// that it asks for are kept in order, so that the answer can name them.
type look struct {
	rep    *report.Report
	lesion *report.Lesion // nil for the session
	event  *report.Event  // nil unless the rule is about an event
	base   string         // pointer of lesion or event, "" for the session
	found  [maxFindings]finding
	n      int
}

// at restarts the look at a lesion, an event or the session.
func (k *look) at(lesion *report.Lesion, event *report.Event, base string) {
	k.lesion, k.event, k.base = lesion, event, base
	k.reset()
}

// reset forgets the findings of the rule before.
func (k *look) reset() { k.n = 0 }

func (k *look) add(f finding) *finding {
	if k.n == maxFindings {
		panic("assess: a rule looks for more findings than there is room for")
	}
	f.bit = 1 << k.n
	k.found[k.n] = f
	k.n++
	return &k.found[k.n-1]
}

// sign adds a finding that is there or not. Path is below the lesion or event.
func (k *look) sign(path, name string, is truth, why, ifYes, ifNo string) *finding {
	return k.add(finding{base: k.base, path: path, name: name, isSign: true,
		sign: is, why: why, ifYes: ifYes, ifNo: ifNo})
}

// number adds a figure below the lesion or event.
func (k *look) number(path, name, unit string, n report.Number) *finding {
	return k.figure(k.base, path, name, unit, n)
}

// session adds a figure of the whole report.
func (k *look) session(path, name, unit string, n report.Number) *finding {
	return k.figure("", path, name, unit, n)
}

func (k *look) figure(base, path, name, unit string, n report.Number) *finding {
	f := finding{base: base, path: path, name: name, unit: unit}
	if v, ok := n.Value(); ok {
		f.lo, f.hi = v, v
	} else {
		f.lo, f.hi = math.Inf(-1), math.Inf(1)
		f.why = why(n.Absence())
	}
	return k.add(f)
}

// answer adds a yes-or-no question below the lesion or event.
func (k *look) answer(path, name string, a report.Answer) *finding {
	return k.sign(path, name, truthOfAnswer(a), why(report.AbsenceOf(a)), "yes", "no")
}

// looked adds the result of looking for a sign below the lesion or event.
// "Cannot be assessed" (VMX, HMX, LyX) is unknown, never negative.
func (k *look) looked(path, name string, s report.Sign) *finding {
	reason := why(report.AbsenceOf(s))
	if s == report.CannotBeAssessed {
		reason = "could not be assessed"
	}
	return k.sign(path, name, truthOfSign(s), reason, "positive", "negative")
}

func truthOfAnswer(a report.Answer) truth {
	switch a {
	case report.Yes:
		return yes
	case report.No:
		return no
	}
	return unknown
}

func truthOfSign(s report.Sign) truth {
	switch s {
	case report.Positive:
		return yes
	case report.Negative:
		return no
	}
	return unknown
}

// why words a kind of absence.
func why(a report.Absence) string {
	switch a {
	case report.Unknown:
		return "not known"
	case report.NotAssessed:
		return "not assessed"
	case report.NotApplicable:
		return "stated as not applicable"
	}
	return "not reported"
}

// pointers lists the JSON Pointers of the findings that were used, in the order
// in which they were looked for.
func (k *look) pointers(used set) []string {
	out := make([]string, 0, 4)
	for i := range k.n {
		if f := &k.found[i]; used&f.bit != 0 {
			out = appendNew(out, f.pointer())
		}
	}
	return out
}

// gaps lists the JSON Pointers of what would have to be filled in.
func (k *look) gaps(open set) []string {
	out := make([]string, 0, 4)
	for i := range k.n {
		f := &k.found[i]
		switch {
		case open&f.bit == 0:
		case f.lack != "":
			out = appendNew(out, f.base+f.lack)
		default:
			out = appendNew(out, f.pointer())
		}
	}
	return out
}

func appendNew(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

func lesionBase(i int) string { return "/lesions/" + strconv.Itoa(i) }
func eventBase(i int) string  { return "/events/" + strconv.Itoa(i) }
