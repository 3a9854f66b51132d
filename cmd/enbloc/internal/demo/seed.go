package demo

import (
	"fmt"

	"enbloc/mapping/report"
	"enbloc/schemas"
	"enbloc/server/practice"
	"enbloc/testdata/cases"
)

// hospital puts what a hospital owns into the receiver, each once. The service
// never creates patients, encounters or staff.
type hospital struct {
	receiver *practice.Receiver
	ids      map[string]string // "Patient|system|value" to id
}

// testLabel marks invented data (http://terminology.hl7.org/CodeSystem/v3-ActReason).
func testLabel() map[string]any {
	return map[string]any{"security": []any{map[string]any{
		"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}}}
}

func seed(r *practice.Receiver, todo []cases.Case) error {
	h := hospital{r, map[string]string{}}
	for _, c := range todo {
		for _, d := range c.Documents {
			if err := h.document(d); err != nil {
				return fmt.Errorf("preparing the practice hospital for %s: %w", c.Name, err)
			}
		}
	}
	return nil
}

func (h hospital) document(d cases.Document) error {
	switch d.Kind {
	case cases.Report:
		rep, _ := schemas.DecodeReport(d.JSON)
		return h.report(rep)
	case cases.Histology:
		part, _ := schemas.DecodeHistology(d.JSON)
		staff := []*report.Identifier{part.Author}
		for _, r := range part.Results {
			staff = append(staff, r.Histology.Pathologist)
		}
		return h.staff(staff...)
	default:
		part, _ := schemas.DecodeEvents(d.JSON)
		return h.staff(part.Author)
	}
}

func (h hospital) report(rep report.Report) error {
	patient, err := h.put("Patient", rep.Patient.Identifier, map[string]any{"gender": "unknown"})
	if err != nil {
		return err
	}
	if rep.Encounter != nil {
		_, err := h.put("Encounter", *rep.Encounter, map[string]any{"status": "finished",
			"class":   map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"},
			"subject": map[string]any{"reference": "Patient/" + patient}})
		if err != nil {
			return err
		}
	}
	if rep.Facility != nil {
		if _, err := h.put("Organization", *rep.Facility, nil); err != nil {
			return err
		}
	}
	staff := []*report.Identifier{rep.Author, rep.Signer}
	for i := range rep.Operators {
		staff = append(staff, &rep.Operators[i].Identifier)
	}
	for _, l := range rep.Lesions {
		if l.Histology != nil {
			staff = append(staff, l.Histology.Pathologist)
		}
	}
	return h.staff(staff...)
}

func (h hospital) staff(all ...*report.Identifier) error {
	for _, id := range all {
		if id == nil {
			continue
		}
		if _, err := h.put("Practitioner", *id, nil); err != nil {
			return err
		}
	}
	return nil
}

func (h hospital) put(kind string, id report.Identifier, more map[string]any) (string, error) {
	key := kind + "|" + id.System + "|" + id.Value
	if had, ok := h.ids[key]; ok {
		return had, nil
	}
	tree := map[string]any{"meta": testLabel()}
	for k, v := range more {
		tree[k] = v
	}
	made, err := h.receiver.Seed(kind, id.System, id.Value, tree)
	h.ids[key] = made
	return made, err
}
