package practice

import (
	"fmt"
	"maps"
	"net/http"
	"strconv"
)

// Seed puts a resource of the hospital (a patient, an encounter, a
// practitioner) into the receiver, as a hospital's other systems would, and
// returns its id. more holds further elements, such as an Encounter's class; it
// may be nil.
func (r *Receiver) Seed(kind, system, value string, more map[string]any) (string, error) {
	tree := map[string]any{"resourceType": kind, "identifier": []any{map[string]any{"system": system, "value": value}}}
	maps.Copy(tree, more)
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.types[kind] == nil {
		return "", fmt.Errorf("seeding practice receiver: it does not know the type %s", kind)
	}
	if refused := checkResource(tree); refused != nil {
		return "", fmt.Errorf("seeding practice receiver: %s: %s", refused.place, refused.text)
	}
	r.lastID++
	id := strconv.Itoa(1000 + r.lastID)
	var undo []func()
	r.store(kind, id, http.MethodPost, tree, &undo)
	return id, nil
}

// HospitalSystems are the identifier systems of the scenario that SeedHospital
// fills; obviously invented.
const (
	PatientSystem      = "https://enbloc.example/fhir/sid/patient"
	EncounterSystem    = "https://enbloc.example/fhir/sid/encounter"
	PractitionerSystem = "https://enbloc.example/fhir/sid/practitioner"
)

// SeedHospital gives each number a patient HTEST-PAT-n with an encounter
// HTEST-ENC-n, and the house two practitioners. Everything is labelled as test
// data (HTEST of http://terminology.hl7.org/CodeSystem/v3-ActReason).
func (r *Receiver) SeedHospital(patients int) error {
	label := map[string]any{"security": []any{map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}}}
	for _, p := range []string{"HTEST-PRA-ENDO", "HTEST-PRA-PATH"} {
		if _, err := r.Seed("Practitioner", PractitionerSystem, p, map[string]any{"meta": label}); err != nil {
			return err
		}
	}
	for n := 1; n <= patients; n++ {
		number := fmt.Sprintf("%04d", n)
		id, err := r.Seed("Patient", PatientSystem, "HTEST-PAT-"+number, map[string]any{"meta": label, "gender": "unknown"})
		if err != nil {
			return err
		}
		_, err = r.Seed("Encounter", EncounterSystem, "HTEST-ENC-"+number, map[string]any{"meta": label, "status": "finished",
			"class":   map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"},
			"subject": map[string]any{"reference": "Patient/" + id}})
		if err != nil {
			return err
		}
	}
	return nil
}
