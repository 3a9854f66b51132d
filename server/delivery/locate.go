package delivery

import (
	"context"
	"net/http"
	"slices"
	"time"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

const (
	// locating bounds the search for the part that a target means: the row is
	// stopped either way, and a person waits for what it says.
	locating = time.Minute
	// mostLocated is how many parts are named; more say no more.
	mostLocated = 5
)

// locate finds the parts that a target means which refused a transaction and
// named none: each is checked alone, by an operation that stores nothing
// (http://hl7.org/fhir/R4/resource-operation-validate.html). It names those that
// are answered worse than others; when all are answered alike, nothing is known.
func (r *run) locate(ctx context.Context, ops []op, refs map[string]string, f *Failure) {
	if f == nil || f.Class != target.Permanent || len(ops) < 2 || f.NamesPart() {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, locating)
	defer cancel()
	verdicts := make([]checked, len(ops))
	for i, o := range ops {
		a := r.target.Client.Operation(ctx, o.kind, "$validate", o.linked(refs))
		if verdicts[i] = readCheck(a); verdicts[i].of == notChecked {
			return
		}
	}
	worst, best := fine, refusedAlone
	for _, v := range verdicts {
		worst, best = max(worst, v.of), min(best, v.of)
	}
	if worst == best {
		return
	}
	var found []Problem
	for i, v := range verdicts {
		if v.of != worst || len(found) >= mostLocated {
			continue
		}
		for k := range v.issues {
			v.issues[k].Entry = 0 // one part was asked about
		}
		if ofPart := problems(ops[i:i+1], v.issues); len(ofPart) > 0 {
			found = append(found, ofPart[0])
		}
	}
	for i := range found {
		found[i].Located = true
	}
	if len(found) > 0 {
		f.Problems = found
	}
}

// NamesPart reports whether a failure says which part of the case it is about.
func (f *Failure) NamesPart() bool {
	return slices.ContainsFunc(f.Problems, func(p Problem) bool { return p.Role != "" })
}

// judgement is how a part was answered that was checked alone, from good to bad.
type judgement int

const (
	notChecked judgement = iota
	fine
	complained // it could be read, and something is wrong with it
	refusedAlone
)

type checked struct {
	of     judgement
	issues target.Issues
}

// readCheck reads an answer to a check. Known servers answer 200 whatever they
// found, or 400 or 422 to what they cannot read or would not take.
func readCheck(a fhirserver.Answer) checked {
	issues := target.ReadIssues(a.Body)
	wrong := issues.Wrong()
	switch {
	case a.Err != nil || issues == nil:
		return checked{}
	case a.Status == http.StatusBadRequest || a.Status == http.StatusUnprocessableEntity:
		return checked{refusedAlone, issues}
	case a.Status != http.StatusOK:
		return checked{}
	case wrong:
		return checked{complained, issues}
	}
	return checked{of: fine}
}
