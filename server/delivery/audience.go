package delivery

import (
	"encoding/json"

	"enbloc/mapping/graph"
	"enbloc/server/target"
)

// Audience says whose data a target may get.
type Audience string

// The audiences.
const (
	// ForPatients: a target of daily work. Test data would stand beside real
	// records and be taken for one.
	ForPatients Audience = "patients"
	// ForTests: a target for tests, where more people look than may see a
	// patient's record.
	ForTests Audience = "test"
)

// labelled reports whether a resource is labelled as test data, with HTEST of
// http://terminology.hl7.org/CodeSystem/v3-ActReason as mapping puts it.
func labelled(body []byte) bool {
	var r struct {
		Meta struct {
			Security []struct {
				System string `json:"system"`
				Code   string `json:"code"`
			} `json:"security"`
		} `json:"meta"`
	}
	if json.Unmarshal(body, &r) != nil {
		return false
	}
	for _, s := range r.Meta.Security {
		if s.System == "http://terminology.hl7.org/CodeSystem/v3-ActReason" && s.Code == "HTEST" {
			return true
		}
	}
	return false
}

// admits refuses test data for a target with patients, and the reverse. The
// label stands on every resource of a test case, shared ones too: one resource
// without it is a patient's.
func (a Audience) admits(g graph.Graph) *Failure {
	if a == "" {
		return nil
	}
	for _, r := range g.Resources {
		if labelled(r.Body) != (a == ForTests) {
			return &Failure{Class: target.Permanent, Reason: WrongAudience}
		}
	}
	return nil
}
