package report

// Match names the case that a part belongs to, in the terms its sender knows:
// at least one of them. enbloc's own case key is never needed.
type Match struct {
	ReportID  *Identifier `json:"report_id,omitempty"`
	Order     *Identifier `json:"order,omitempty"`
	Accession *Identifier `json:"accession,omitempty"`
}

// Part is the envelope that later parts have in common.
type Part struct {
	Schema       string      `json:"schema"`
	TestData     bool        `json:"test_data,omitempty"`
	SourceSystem string      `json:"source_system"`
	PartID       Identifier  `json:"part_id"` // the sender's identity of this part; stays the same over revisions
	Revision     int         `json:"revision"`
	RecordedAt   Time        `json:"recorded_at"`
	Author       *Identifier `json:"author,omitempty"`
	Match        Match       `json:"match"`
	// Withdrawn voids what this part said in earlier revisions.
	Withdrawn bool   `json:"withdrawn,omitempty"`
	Reason    string `json:"reason,omitempty"`
}

// HistologyPart brings the pathologist's findings.
type HistologyPart struct {
	Part
	Results []LesionHistology `json:"results"`
}

// LesionHistology is the finding on one lesion. The lesion is named by its
// number or by the accession of its container; a case with a single lesion
// needs neither.
type LesionHistology struct {
	Lesion    int         `json:"lesion,omitempty"`
	Accession *Identifier `json:"accession,omitempty"`
	Histology Histology   `json:"histology"`
}

// EventsPart brings events that happened, or became known, later.
type EventsPart struct {
	Part
	Events []Event `json:"events"`
}
