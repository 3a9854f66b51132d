package assess

import (
	"math"
	"strconv"
)

// truth is yes, no or unknown. Unknown is its zero: what nobody has said is
// not known, and nothing in this package turns unknown into no.
type truth uint8

const (
	unknown truth = iota
	no
	yes
)

func truthOf(b bool) truth {
	if b {
		return yes
	}
	return no
}

// set is a set of findings of one look, by index.
type set uint64

// fact is a statement about the case: whether it holds, which findings made it
// so (seen) and, when it is unknown, which findings would settle it (open).
type fact struct {
	is         truth
	seen, open set
}

// not negates a fact; unknown stays unknown.
func not(f fact) fact {
	switch f.is {
	case yes:
		f.is = no
	case no:
		f.is = yes
	}
	return f
}

// all holds when every fact holds (Kleene's strong conjunction): one fact that
// fails settles it, whatever is unknown of the others.
func all(facts ...fact) fact {
	out := fact{is: yes}
	for _, f := range facts {
		switch f.is {
		case no:
			return fact{is: no, seen: f.seen}
		case unknown:
			out.is = unknown
		}
		out.seen |= f.seen
		out.open |= f.open
	}
	return out
}

// anyOf holds when at least one fact holds (Kleene's strong disjunction).
func anyOf(facts ...fact) fact {
	out := fact{is: no}
	for _, f := range facts {
		switch f.is {
		case yes:
			return fact{is: yes, seen: f.seen}
		case unknown:
			out.is = unknown
		}
		out.seen |= f.seen
		out.open |= f.open
	}
	return out
}

// always is the fact of the last row of a decision list.
func always() fact { return fact{is: yes} }

// finding is one thing that a rule looks for in the report: a figure, known or
// known to lie between two bounds, or a sign that is there or not.
type finding struct {
	bit    set
	base   string // pointer of the lesion or event, "" for the report
	path   string // the rest of the JSON Pointer
	lack   string // the path that would have to be filled, when it is another one
	name   string // "vertical margin"
	why    string // why it is missing: "not reported", "could not be assessed"
	ifYes  string // how a clinician says it of a sign: "positive"
	ifNo   string
	unit   string // "mm", "µm"; figures only
	isSign bool
	sign   truth
	lo, hi float64 // bounds of a figure, equal when it is known
	cuts   []cut   // limits that rules asked for while it was unknown
}

// cut is a limit that an answer hangs on. With fromIt the limit itself belongs
// to what lies above it.
type cut struct {
	at     float64
	fromIt bool
}

// pointer is the finding's JSON Pointer into the report.
func (f *finding) pointer() string { return f.base + f.path }

// known reports whether the finding has a definite value.
func (f *finding) known() bool {
	if f.isSign {
		return f.sign != unknown
	}
	return f.lo == f.hi
}

// yes is the fact that the sign is there.
func (f *finding) yes() fact { return f.settled(f.sign) }

// no is the fact that the sign is not there.
func (f *finding) no() fact { return not(f.yes()) }

// below is the fact that the figure is smaller than limit.
func (f *finding) below(limit float64) fact {
	switch {
	case f.hi < limit:
		return f.settled(yes)
	case f.lo >= limit:
		return f.settled(no)
	}
	f.asked(cut{at: limit, fromIt: true})
	return f.settled(unknown)
}

// atMost is the fact that the figure is limit or smaller.
func (f *finding) atMost(limit float64) fact {
	switch {
	case f.hi <= limit:
		return f.settled(yes)
	case f.lo > limit:
		return f.settled(no)
	}
	f.asked(cut{at: limit})
	return f.settled(unknown)
}

// above is the fact that the figure is greater than limit.
func (f *finding) above(limit float64) fact { return not(f.atMost(limit)) }

// atLeast is the fact that the figure is limit or greater.
func (f *finding) atLeast(limit float64) fact { return not(f.below(limit)) }

func (f *finding) settled(t truth) fact {
	if t == unknown {
		return fact{is: unknown, open: f.bit}
	}
	return fact{is: t, seen: f.bit}
}

// asked remembers a limit, so that an answer which hangs on it can say so.
func (f *finding) asked(c cut) {
	for _, have := range f.cuts {
		if have == c {
			return
		}
	}
	f.cuts = append(f.cuts, c)
}

// plain writes a figure without superfluous digits.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// round rounds v to the given number of decimals, half away from zero.
func round(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p) / p
}
