package model_test

import (
	"encoding/json"
	"testing"

	"github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"
)

// What golang-fhir-models v0.3.2 does when it is used alone, measured. Each
// subtest shows one defect that this package exists to keep off the wire; when
// one of them fails, the library has changed and its guard may go. Legality is
// judged by FHIR R4: hl7.org/fhir/R4/json.html (no null in objects, no empty
// string, object or list) and the definitions of the types named.
func TestLibraryDefects(t *testing.T) {
	t.Parallel()
	alone := func(t *testing.T, v any) string {
		t.Helper()
		raw, err := json.Marshal(v)
		require.NoError(t, err)
		return string(raw)
	}

	t.Run("an empty decimal is sent as 0", func(t *testing.T) {
		t.Parallel()
		var none json.Number
		require.Contains(t, alone(t, fhir.Observation{ValueQuantity: &fhir.Quantity{Value: &none}}), `"value":0`)
	})
	t.Run("a status that was forgotten is sent as the first of its list", func(t *testing.T) {
		t.Parallel()
		require.Contains(t, alone(t, fhir.Procedure{}), `"status":"preparation"`)
		require.Contains(t, alone(t, fhir.Observation{}), `"status":"registered"`)
		require.Contains(t, alone(t, fhir.DiagnosticReport{}), `"status":"registered"`)
		require.Contains(t, alone(t, fhir.Media{}), `"status":"preparation"`)
		require.Contains(t, alone(t, fhir.AdverseEvent{}), `"actuality":"actual"`)
		require.Contains(t, alone(t, fhir.ServiceRequest{}), `"status":"draft","intent":"proposal"`)
		require.Contains(t, alone(t, fhir.ProvenanceEntity{}), `"role":"derivation"`)
		require.Contains(t, alone(t, fhir.DeviceDeviceName{}), `"type":"udi-label-name"`)
	})
	t.Run("a code out of range is sent as <unknown>", func(t *testing.T) {
		t.Parallel()
		require.Contains(t, alone(t, fhir.Observation{Status: fhir.ObservationStatus(99)}), `"status":"\u003cunknown\u003e"`)
	})
	t.Run("a list that must not be empty is sent as null", func(t *testing.T) {
		t.Parallel()
		sent := alone(t, fhir.Provenance{})
		require.Contains(t, sent, `"target":null`)
		require.Contains(t, sent, `"agent":null`)
	})
	t.Run("a required object or string is sent empty", func(t *testing.T) {
		t.Parallel()
		require.Contains(t, alone(t, fhir.Procedure{}), `"subject":{}`)
		require.Contains(t, alone(t, fhir.Annotation{}), `"text":""`)
	})
	t.Run("every choice of a required choice is sent at once", func(t *testing.T) {
		t.Parallel()
		sent := alone(t, fhir.MedicationAdministration{})
		for _, member := range []string{`"medicationCodeableConcept":{}`, `"medicationReference":{}`,
			`"effectiveDateTime":""`, `"effectivePeriod":{}`} {
			require.Contains(t, sent, member)
		}
		require.Contains(t, alone(t, fhir.CompositionRelatesTo{}), `"targetIdentifier":{},"targetReference":{}`)
	})
	t.Run("two values of one choice are sent", func(t *testing.T) {
		t.Parallel()
		text, yes := "text", true
		sent := alone(t, fhir.Observation{ValueString: &text, ValueBoolean: &yes})
		require.Contains(t, sent, `"valueString"`)
		require.Contains(t, sent, `"valueBoolean"`)
	})
	t.Run("extensions of primitives and contained resources are lost", func(t *testing.T) {
		t.Parallel()
		read, err := fhir.UnmarshalObservation([]byte(`{"resourceType":"Observation","status":"final","code":{"text":"x"},` +
			`"_effectiveDateTime":{"extension":[{"url":"u","valueCode":"unknown"}]},"contained":[{"resourceType":"Patient","id":"p"}]}`))
		require.NoError(t, err)
		sent := alone(t, read)
		require.NotContains(t, sent, "_effectiveDateTime")
		require.NotContains(t, sent, "contained")
	})
	t.Run("a resource of another type is accepted", func(t *testing.T) {
		t.Parallel()
		_, err := fhir.UnmarshalPatient([]byte(`{"resourceType":"Observation"}`))
		require.NoError(t, err)
	})
	t.Run("a date that is none is accepted", func(t *testing.T) {
		t.Parallel()
		read, err := fhir.UnmarshalObservation([]byte(`{"status":"final","code":{},"effectiveDateTime":"yesterday"}`))
		require.NoError(t, err)
		require.Equal(t, "yesterday", *read.EffectiveDateTime)
	})
	t.Run("resourceType comes last and text is escaped for HTML", func(t *testing.T) {
		t.Parallel()
		text := "a<b"
		sent := alone(t, fhir.Observation{ValueString: &text})
		require.Regexp(t, `"resourceType":"Observation"}$`, sent)
		require.Contains(t, sent, `a\u003cb`)
	})
	t.Run("decimals keep their digits, which is why it is used", func(t *testing.T) {
		t.Parallel()
		digits := json.Number("1.50")
		require.Contains(t, alone(t, fhir.Quantity{Value: &digits}), `1.50`)
	})
}
