package delivery

import (
	"context"
	"encoding/json"
	"time"

	"enbloc/mapping/graph"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// soundPatient refuses a record that was merged into another, is inactive, or
// cannot be the report's patient by age. A wrong patient is worse than a late
// record, so each of these stops the case.
func (r *run) soundPatient(hit []byte) (string, *Failure) {
	var p struct {
		ID        string `json:"id"`
		Active    *bool  `json:"active"`
		BirthDate string `json:"birthDate"`
		Link      []struct {
			Type string `json:"type"`
		} `json:"link"`
	}
	if json.Unmarshal(hit, &p) != nil || !fhirserver.ValidID(p.ID) {
		return "", &Failure{Class: target.Retry, Reason: NoAnswer}
	}
	for _, l := range p.Link {
		if l.Type == "replaced-by" {
			return "", &Failure{Class: target.Conflict, Reason: PatientMerged}
		}
	}
	switch {
	case p.Active != nil && !*p.Active:
		return "", &Failure{Class: target.Conflict, Reason: PatientInactive}
	case !couldBe(r.patientBorn, p.BirthDate):
		return "", &Failure{Class: target.Conflict, Reason: PatientMismatch}
	}
	return "Patient/" + p.ID, nil
}

// couldBe compares the span of birth dates that the report's age allows with a
// birthDate (YYYY, YYYY-MM or YYYY-MM-DD; http://hl7.org/fhir/R4/patient.html).
// What is not known contradicts nothing.
func couldBe(born graph.Span, birthDate string) bool {
	if born.From == "" || born.To == "" || birthDate == "" {
		return true
	}
	n := min(len(birthDate), len(born.From), len(born.To))
	return birthDate[:n] >= born.From[:n] && birthDate[:n] <= born.To[:n]
}

// labels are the security labels of the record (test data, pseudonymised).
func (r *run) labels() []any {
	if len(r.g.Resources) == 0 {
		return nil
	}
	tree, err := fhirserver.DecodeTree[any](r.g.Resources[len(r.g.Resources)-1].Body)
	o, _ := tree.(map[string]any)
	meta, ok := o["meta"].(map[string]any)
	labels, _ := meta["security"].([]any)
	if err != nil || !ok {
		return nil
	}
	return labels
}

// makePatient creates the bare patient: the identifier of the report and the
// security labels that the case has. Nothing about the person is known
// here, and nothing is made up.
func (r *run) makePatient(ctx context.Context, x external) (string, *Failure) {
	// Two cases of one patient must not race for it.
	end, err := r.alone(ctx)
	if err != nil {
		return "", asFailure(err)
	}
	defer end()
	query := fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{x.Token}}
	identifier := map[string]any{"value": x.Value}
	if x.System != "" {
		identifier["system"] = x.System
	}
	patient := map[string]any{"resourceType": "Patient", "identifier": []any{identifier}}
	if labels := r.labels(); len(labels) > 0 {
		patient["meta"] = map[string]any{"security": labels}
	}
	body, err := fhirserver.EncodeTree(patient)
	if err != nil {
		return "", &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
	}
	hits, a := r.target.Client.Search(ctx, query)
	if hits != nil && len(hits) == 0 {
		created := r.target.Client.Create(ctx, "Patient", body, fhirserver.Condition("identifier", x.System, x.Value))
		if reaction := created.Reaction(r.now()); reaction.Class != target.Done && reaction.Class != target.Conflict {
			return "", r.failure(created, reaction)
		}
		hits, a = r.target.Client.Search(ctx, query)
	}
	switch {
	case hits == nil:
		return "", r.failure(a, a.Reaction(r.now()))
	case len(hits) == 0: // created, and the search is late
		return "", &Failure{Class: target.Retry, Reason: NotReadBack, After: time.Second}
	case len(hits) > 1:
		return "", &Failure{Class: target.Conflict, Reason: PatientAmbiguous}
	}
	return r.soundPatient(hits[0])
}
