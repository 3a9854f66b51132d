package intake

import (
	"enbloc/mapping/report"
	"enbloc/server/store"
)

// Join makes the whole report of the documents that make up one state of a
// case, as they are stored.
func Join(rows []store.Document) (report.Report, error) {
	p, err := partsOf(rows)
	if err != nil {
		return report.Report{}, err
	}
	merged, _ := p.merged()
	return merged, nil
}
