package fhir_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// withHistology is the gastric case with the pathologist's findings.
func withHistology(t testing.TB, status report.HistologyStatus) report.Report {
	t.Helper()
	rep := gastricESD(t)
	h := report.Histology{}
	require.NoError(t, json.Unmarshal([]byte(`{"lab_report":{"system":"https://lab.example/sid/report","value":"HTEST-LAB-0101"},
		"issued_at":"2026-02-10T14:00:00+01:00","pathologist":{"system":"https://his.example/sid/practitioner","value":"HTEST-PRA-09"},
		"types":["tub1"],"grade":"well-differentiated","pt":"pT1b-SM1","depth_um":320,"horizontal_margin":"negative",
		"vertical_margin":"cannot-be-assessed","lymphatic_invasion":"negative","venous_invasion":"unknown","tumour_long_mm":27.0}`), &h))
	h.Status = status
	rep.Lesions[0].Histology = &h
	return rep
}

func bleeding(rep report.Report) report.Event {
	return report.Event{ID: "HTEST-EV-1", Lesion: 1, Kind: report.EventBleeding, Timing: report.AfterSession,
		OccurredAt: at("2026-02-09T05:00:00+01:00"), RecordedAt: at("2026-02-12T09:00:00+01:00"),
		HbBeforeGDl: number("13.80"), UnplannedNights: report.Int(2), Outcome: report.OutcomeResolved}
}

func at(s string) report.Time {
	t, err := report.ParseTime(s)
	if err != nil {
		panic(err)
	}
	return t
}

func number(s string) report.Number {
	n, err := report.NewNumber(s)
	if err != nil {
		panic(err)
	}
	return n
}

// statusesOf returns what each type says its status is; Conditions by their
// verificationStatus, AdverseEvents by whether they are retracted, and the two
// reports apart.
func statusesOf(t testing.TB, g graph.Graph) map[string]map[string]bool {
	t.Helper()
	out := map[string]map[string]bool{}
	for _, r := range g.Resources {
		var body struct {
			Status             string
			Active             *bool
			VerificationStatus struct{ Coding []struct{ Code string } }
			ClinicalStatus     json.RawMessage
			Abatement          json.RawMessage `json:"abatementDateTime"`
			Meta               struct{ Tag []struct{ Code string } }
			Intent             string
		}
		require.NoError(t, json.Unmarshal(r.Body, &body))
		kind, status := r.Type, body.Status
		switch r.Type {
		case "DiagnosticReport":
			kind = r.Role
		case "Condition":
			status = body.VerificationStatus.Coding[0].Code
			if status == "entered-in-error" {
				require.Nil(t, body.ClinicalStatus, "R4, con-5")
				require.Nil(t, body.Abatement, "R4, con-4")
			}
		case "AdverseEvent":
			status = "stands"
			for _, tag := range body.Meta.Tag {
				if tag.Code == "retracted" {
					status = "retracted"
				}
			}
		case "BodyStructure":
			status = map[bool]string{true: "active", false: "inactive"}[*body.Active]
		}
		if out[kind] == nil {
			out[kind] = map[string]bool{}
		}
		out[kind][status] = true
	}
	return out
}

func set(list ...string) map[string]bool {
	out := map[string]bool{}
	for _, s := range list {
		out[s] = true
	}
	return out
}

// The status matrix: what each state of the documents gives each type. The
// codes are R4's (hl7.org/fhir/R4/valueset-observation-status.html,
// -diagnostic-report-status.html, -event-status.html, -request-status.html).
func TestStatusMatrix(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*report.Report)
		want   map[string]map[string]bool
	}{
		"draft": {func(r *report.Report) { r.Status, r.SignedAt = report.Draft, report.Time{} }, map[string]map[string]bool{
			"Observation": set("preliminary"), "report/endoscopy": set("preliminary"), "Condition": set("provisional"),
			"Procedure": set("completed"), "MedicationAdministration": set("completed"), "Media": set("completed"),
			"ServiceRequest": set("draft"), "BodyStructure": set("active"), "Specimen": set("available")}},
		"signed": {func(*report.Report) {}, map[string]map[string]bool{
			"Observation": set("final"), "report/endoscopy": set("final"), "Condition": set("provisional"),
			"Procedure": set("completed"), "ServiceRequest": set("active")}},
		"amended": {func(r *report.Report) { r.Status = report.Amended }, map[string]map[string]bool{
			"Observation": set("amended"), "report/endoscopy": set("amended"), "Procedure": set("completed")}},
		"corrected": {func(r *report.Report) { r.Status = report.Corrected }, map[string]map[string]bool{
			"Observation": set("corrected"), "report/endoscopy": set("corrected")}},
		"histology preliminary": {func(r *report.Report) { *r = withHistology(t, report.HistologyPreliminary) }, map[string]map[string]bool{
			"Observation": set("final", "preliminary"), "report/endoscopy": set("appended"), "report/pathology": set("preliminary"),
			"Condition": set("provisional")}},
		"histology final": {func(r *report.Report) { *r = withHistology(t, report.HistologyFinal) }, map[string]map[string]bool{
			"Observation": set("final"), "report/endoscopy": set("appended"), "report/pathology": set("final"), "Condition": set("confirmed")}},
		"histology amended": {func(r *report.Report) { *r = withHistology(t, report.HistologyAmended) }, map[string]map[string]bool{
			"Observation": set("final", "amended"), "report/pathology": set("amended"), "Condition": set("confirmed")}},
		"histology corrected": {func(r *report.Report) { *r = withHistology(t, report.HistologyCorrected) }, map[string]map[string]bool{
			"Observation": set("final", "corrected"), "report/pathology": set("corrected")}},
		"histology finds no neoplasia": {func(r *report.Report) {
			*r = withHistology(t, report.HistologyFinal)
			r.Lesions[0].Histology.Types = []report.HistologyType{report.TypeNoNeoplasia}
		}, map[string]map[string]bool{"Condition": set("refuted")}},
		"late event": {func(r *report.Report) { r.Events = []report.Event{bleeding(*r)} }, map[string]map[string]bool{
			"Observation": set("final"), "report/endoscopy": set("appended"), "AdverseEvent": set("stands"),
			"Condition": set("provisional", "confirmed")}},
		"event retracted": {func(r *report.Report) {
			e := bleeding(*r)
			e.Retracted = true
			r.Events = []report.Event{e}
		}, map[string]map[string]bool{"Observation": set("final", "entered-in-error"), "AdverseEvent": set("retracted"),
			"Condition": set("provisional", "entered-in-error"), "report/endoscopy": set("appended")}},
		"resection given up": {func(r *report.Report) { r.Lesions[0].Resection.Completion = report.CompletionAbandoned }, map[string]map[string]bool{
			"Procedure": set("completed", "stopped")}},
		"withdrawn": {func(r *report.Report) {
			*r = withHistology(t, report.HistologyFinal)
			r.Events = []report.Event{bleeding(*r)}
			r.Status = report.Withdrawn
		}, map[string]map[string]bool{
			"Observation": set("entered-in-error"), "report/endoscopy": set("entered-in-error"), "report/pathology": set("entered-in-error"),
			"Condition": set("entered-in-error"), "Procedure": set("entered-in-error"), "MedicationAdministration": set("entered-in-error"),
			"Media": set("entered-in-error"), "ServiceRequest": set("entered-in-error"), "Specimen": set("entered-in-error"),
			"AdverseEvent": set("retracted"), "BodyStructure": set("inactive"), "Device": set("active")}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rep := gastricESD(t)
			c.change(&rep)
			got := statusesOf(t, mapped(t, rep))
			for kind, want := range c.want {
				require.Equal(t, want, got[kind], kind)
			}
		})
	}
}

// A summary that waits for a specimen is partial.
func TestPathologyPartial(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	second := rep.Lesions[0]
	second.Number, second.Histology = 2, nil
	rep.Lesions = append(rep.Lesions, second)
	require.Equal(t, set("partial"), statusesOf(t, mapped(t, rep))["report/pathology"])
}

// The summary of histology lists what the pathologist's findings yield; a
// bleeding score takes one size from the slide and the rest from the patient
// and the session (BEST-J: Hatta W et al., Gut 2021;70:476-484), so
// it is a result of the endoscopy, once the size is final.
func TestResultsOfEachReport(t *testing.T) {
	t.Parallel()
	results := func(status report.HistologyStatus, report string) map[string]bool {
		g := mappedAfter(t, withHistology(t, status))
		roles := map[string]string{}
		for _, r := range g.Resources {
			roles[r.Reference()] = r.Role
		}
		listed := map[string]bool{}
		for _, r := range g.Resources {
			var body struct{ Result []struct{ Reference string } }
			require.NoError(t, json.Unmarshal(r.Body, &body))
			if r.Role == report {
				for _, one := range body.Result {
					listed[roles[one.Reference]] = true
				}
			}
		}
		return listed
	}
	const bleeding, curability = "lesion/1/derived/r4-bleed-bestj", "lesion/1/derived/r2-gastric-curability-ecura"
	pathology, endoscopy := results(report.HistologyFinal, "report/pathology"), results(report.HistologyFinal, "report/endoscopy")
	require.True(t, pathology["lesion/1/histology"])
	require.True(t, pathology[curability], "%v", pathology)
	require.False(t, pathology[bleeding])
	require.True(t, endoscopy[bleeding], "%v", endoscopy)
	require.False(t, endoscopy[curability])
	require.False(t, results(report.HistologyPreliminary, "report/endoscopy")[bleeding])
}

func TestMapRefusesUnknownStates(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Status = "done"
	_, err := fhir.Map(rep, nil, options())
	require.Error(t, err)
	rep = withHistology(t, "done")
	_, err = fhir.Map(rep, nil, options())
	require.Error(t, err)
}

// Times come from the documents, never from a clock.
func TestIssuedIsTheDocumentsOwn(t *testing.T) {
	t.Parallel()
	for _, r := range mapped(t, withHistology(t, report.HistologyFinal)).Resources {
		var body struct{ Issued, Recorded string }
		require.NoError(t, json.Unmarshal(r.Body, &body))
		for _, when := range []string{body.Issued, body.Recorded} {
			if when != "" {
				require.Contains(t, []string{"2026-02-03T11:52:00+01:00", "2026-02-10T14:00:00+01:00"}, when, r.Role)
			}
		}
	}
}
