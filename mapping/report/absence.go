package report

// Absence says why there is no value. The empty Absence means that the field
// was left out: not reported, and nothing is known about why.
type Absence string

// The three kinds of absence that a report tells apart.
const (
	Unknown       Absence = "unknown"        // it was looked for or asked, and is not known
	NotAssessed   Absence = "not-assessed"   // nobody looked
	NotApplicable Absence = "not-applicable" // the question does not arise
)

// Absences lists every kind of absence.
var Absences = []Absence{Unknown, NotAssessed, NotApplicable}

// Known reports whether an enumerated value is there: neither left out nor one
// of the kinds of absence.
func Known[T ~string](v T) bool {
	return v != "" && AbsenceOf(v) == ""
}

// AbsenceOf returns the kind of absence that an enumerated value states, or ""
// for a value that is there or was left out.
func AbsenceOf[T ~string](v T) Absence {
	switch a := Absence(v); a {
	case Unknown, NotAssessed, NotApplicable:
		return a
	}
	return ""
}

// Answer answers a yes-or-no question; it may also be a kind of absence.
type Answer string

// The answers that are one.
const (
	Yes Answer = "yes"
	No  Answer = "no"
)

// Sign is the result of looking for one thing (a margin, an invasion, a
// sign); it may also be a kind of absence. "Cannot be assessed" is a result
// of looking (HM X, VM X, Ly X), not an absence.
type Sign string

// The results of looking.
const (
	Positive         Sign = "positive"
	Negative         Sign = "negative"
	CannotBeAssessed Sign = "cannot-be-assessed"
)
