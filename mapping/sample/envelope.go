package sample

import (
	"time"

	"enbloc/mapping/report"
)

var (
	statuses    = []report.Status{report.Signed, report.Draft, report.Amended, report.Corrected, report.Withdrawn}
	statusShare = []float64{0.86, 0.03, 0.07, 0.03, 0.01}

	statusReasons = map[report.Status]string{
		report.Amended:   "Plan added after histology.",
		report.Corrected: "Wall put right.",
		report.Withdrawn: "Entered for the wrong patient.",
	}

	operatorRoles = []report.OperatorRole{report.OperatorTrainee, report.OperatorSupervisor, report.OperatorAssistant}
	endoscopes    = map[report.SessionKind][]report.Endoscope{
		report.UpperEndoscopy: {report.Gastroscope, report.Duodenoscope},
		report.Colonoscopy:    {report.Colonoscope, report.Gastroscope},
		report.Sigmoidoscopy:  {report.Colonoscope, report.Gastroscope},
		report.Enteroscopy:    {report.Enteroscope},
	}
	gases = []report.InsufflantGas{report.GasCO2, report.GasAir}
)

// writeEnvelope fills in whose report it is, its state and the session.
func (s *session) writeEnvelope() {
	lead := s.staff("DR", 8)
	s.rep.Schema = report.SchemaReport
	s.rep.TestData = true
	s.rep.SourceSystem = "https://hospital.example/endoscopy"
	s.rep.ReportID = s.id("endoscopy-report", "")
	s.writeStatus(lead)
	s.rep.Operators = s.operators(lead)
	s.rep.Facility = s.optionalID("facility", "facility", "-ROOM")
	s.rep.Patient = report.Patient{Identifier: s.id("patient", ""), AgeY: s.number("age", s.age(), 0)}
	s.rep.Encounter = s.optionalID("encounter", "encounter", "")
	s.rep.Order = s.optionalID("order", "order", "")
	scopes := s.endoscopes()
	s.rep.Session = report.Session{
		Kind: s.kind, Start: stamp(s.start), End: stamp(s.end),
		Endoscope: plain(s.dice, "endoscope/"+string(s.kind)+string(rune('0'+len(scopes))), scopes, 0.97, 0.03),
		Cap:       s.answer("cap", 0.9),
		Gas:       plain(s.dice, "gas", gases, 0.95, 0.05),
	}
}

// endoscopes lists what the session may be done with; a side-viewing one only
// sees the duodenum.
func (s *session) endoscopes() []report.Endoscope {
	list := endoscopes[s.kind]
	if s.kind != report.UpperEndoscopy {
		return list
	}
	for _, c := range s.courses {
		if c.organ != report.Duodenum {
			return list[:1]
		}
	}
	return list
}

// age is drawn around 68 years.
func (s *session) age() float64 { return min(94, max(28, 68+10*s.rng.NormFloat64())) }

// writeStatus sets state, revision and the times of writing and signing.
func (s *session) writeStatus(lead report.Identifier) {
	status := s.status
	s.rep.Status, s.rep.Revision = status, 1
	written := s.end.Add(minutes(float64(s.whole(15, 180))))
	if reason, later := statusReasons[status]; later {
		s.rep.Revision = s.whole(2, 4)
		s.rep.StatusReason = reason
		written = written.Add(time.Duration(s.whole(1, 9)) * 24 * time.Hour)
	}
	s.rep.WrittenAt = stamp(written)
	if s.has("author") {
		s.rep.Author = &lead
	}
	if status != report.Draft {
		s.rep.Signer = &lead
		s.rep.SignedAt = stamp(written.Add(minutes(float64(s.whole(0, 30)))))
	}
}

// operators lists who worked at the endoscope.
func (s *session) operators(lead report.Identifier) []report.Operator {
	if !s.has("operators") {
		return nil
	}
	out := []report.Operator{{Identifier: lead, Role: report.OperatorLead}}
	for _, role := range some(s.dice, "operator/role", operatorRoles, 0, 2) {
		out = append(out, report.Operator{Identifier: s.staff("ST", 20), Role: role})
	}
	return out
}
