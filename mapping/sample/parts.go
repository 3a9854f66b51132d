package sample

import (
	"time"

	"enbloc/mapping/report"
)

// part is the envelope of a later part.
func (s *session) part(schema, sender, suffix string, recorded report.Time) report.Part {
	p := report.Part{
		Schema: schema, TestData: true, SourceSystem: "https://hospital.example/" + sender,
		PartID: s.id(sender+"-part", suffix), Revision: pick(s.dice, "part/revision", []int{1, 2}, 0.95, 0.05),
		RecordedAt: recorded, Match: s.match(),
	}
	if s.has("part author") {
		author := s.staff("DR", 8)
		p.Author = &author
	}
	p.Reason = s.text("part reason", "Sent again with the full text.")
	if p.Revision > 1 && s.rare("part withdrawn", 0.1) {
		p.Withdrawn = true
		p.Reason = "Slides of two cases were exchanged."
	}
	return p
}

// match names the case in the terms that a sender knows.
func (s *session) match() report.Match {
	ways := []string{"report", "all"}
	accessions := s.rep.Accessions()
	if s.rep.Order != nil {
		ways = append(ways, "order")
	}
	if len(accessions) > 0 {
		ways = append(ways, "accession")
	}
	way := pick(s.dice, "match/"+string(rune('0'+len(ways))), ways)
	var m report.Match
	if way == "report" || way == "all" {
		m.ReportID = &s.rep.ReportID
	}
	if way == "order" || way == "all" {
		m.Order = s.rep.Order
	}
	if (way == "accession" || way == "all") && len(accessions) > 0 {
		m.Accession = &accessions[0]
	}
	return m
}

func (s *session) histologyPart(results []report.LesionHistology) report.HistologyPart {
	issued := results[0].Histology.IssuedAt
	for _, r := range results {
		if r.Histology.IssuedAt.At().After(issued.At()) {
			issued = r.Histology.IssuedAt
		}
	}
	return report.HistologyPart{
		Part:    s.part(report.SchemaHistology, "laboratory", "", stamp(issued.At().Add(5*time.Minute))),
		Results: results,
	}
}
