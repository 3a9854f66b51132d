package intake

import (
	"slices"

	"enbloc/mapping/report"
	"enbloc/server/store"
)

// keysOfPart are what a part names its case by.
func keysOfPart(m report.Match) []store.MatchKey {
	var keys []store.MatchKey
	for _, k := range []struct {
		name store.MatchName
		id   *report.Identifier
	}{{store.ByReport, m.ReportID}, {store.ByOrder, m.Order}, {store.ByAccession, m.Accession}} {
		if k.id != nil && !k.id.Zero() {
			keys = append(keys, store.MatchKey{Name: k.name, System: k.id.System, Value: k.id.Value})
		}
	}
	return keys
}

// keysOfCase are what a case can be found by. The report is the merged one: a
// laboratory's number that came with the histology finds the case, too.
func keysOfCase(merged report.Report) []store.MatchKey {
	keys := keysOfPart(report.Match{ReportID: &merged.ReportID, Order: merged.Order})
	for _, id := range merged.Accessions() {
		keys = append(keys, store.MatchKey{Name: store.ByAccession, System: id.System, Value: id.Value})
	}
	return keys
}

// intersects reports whether the part names anything that the case has.
func intersects(part, ofCase []store.MatchKey) bool {
	return slices.ContainsFunc(part, func(k store.MatchKey) bool { return slices.Contains(ofCase, k) })
}

// contradicts reports whether the part names a report or an order other than
// the one of the case. A case has any number of accessions, so those cannot
// contradict.
func contradicts(part, ofCase []store.MatchKey) bool {
	for _, k := range part {
		if k.Name == store.ByAccession {
			continue
		}
		other := slices.ContainsFunc(ofCase, func(c store.MatchKey) bool { return c.Name == k.Name && c != k })
		if other && !slices.Contains(ofCase, k) {
			return true
		}
	}
	return false
}
