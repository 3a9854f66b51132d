package model_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir/model"
)

// observation is one that is fit to be sent.
func observation() *model.Observation {
	return &model.Observation{Code: model.Text("size"), ValueQuantity: model.NewQuantity("1.50", "mm", "mm")}
}

func TestEncodeCanonical(t *testing.T) {
	t.Parallel()
	o := observation()
	o.Note = []model.Annotation{{Text: "a<b & c>d"}}
	raw, err := model.Encode(o, model.Status("final"), nil)
	require.NoError(t, err)
	require.Equal(t, `{"resourceType":"Observation","status":"final","code":{"text":"size"},`+
		`"valueQuantity":{"value":1.50,"unit":"mm","system":"http://unitsofmeasure.org","code":"mm"},`+
		`"note":[{"text":"a<b & c>d"}]}`, string(raw))
	require.True(t, json.Valid(raw))
}

// An absent figure is no quantity, so it can not become 0.
func TestAbsentFigureIsNoQuantity(t *testing.T) {
	t.Parallel()
	require.Nil(t, model.NewQuantity("", "mm", "mm"))
	raw, err := model.Encode(&model.Observation{Code: model.Text("x"), ValueQuantity: model.NewQuantity("", "mm", "mm")},
		model.Status("final"), nil)
	require.NoError(t, err)
	require.NotContains(t, string(raw), "value")
}

func TestEncodeRefuses(t *testing.T) {
	t.Parallel()
	var none json.Number
	quoted := json.Number(`"5"`)
	text, yes := "text", true
	for name, c := range map[string]struct {
		resource any
		codes    model.Codes
	}{
		"no status":                  {observation(), model.Codes{}},
		"an unknown status":          {observation(), model.Status("done")},
		"a status set by hand":       {&model.Observation{Status: fhir.ObservationStatusFinal}, model.Status("amended")},
		"an intent for a procedure":  {&model.Procedure{}, model.Codes{Status: "completed", Intent: "plan"}},
		"a request without intent":   {&model.ServiceRequest{}, model.Status("active")},
		"an event without actuality": {&model.AdverseEvent{}, model.Codes{}},
		"a status for a condition":   {&model.Condition{}, model.Status("active")},
		"a drug without status":      {&model.MedicationAdministration{}, model.Codes{}},
		"a drug with a wrong status": {&model.MedicationAdministration{}, model.Status("final")},
		"a decimal without digits":   {&model.Observation{ValueQuantity: &model.Quantity{Value: &none}}, model.Status("final")},
		"a decimal in quotes":        {&model.Observation{ValueQuantity: &model.Quantity{Value: &quoted}}, model.Status("final")},
		"a decimal without digits in a component": {&model.Observation{Component: []model.Component{
			{ValueQuantity: &model.Quantity{Value: &none}}}}, model.Status("final")},
		"a decimal without digits in an extension": {&model.Observation{Extension: []model.Extension{
			{Url: "u", ValueQuantity: &model.Quantity{Value: &none}}}}, model.Status("final")},
		"two values":                            {&model.Observation{ValueString: &text, ValueBoolean: &yes}, model.Status("final")},
		"two values in a component":             {&model.Observation{Component: []model.Component{{ValueString: &text, ValueBoolean: &yes}}}, model.Status("final")},
		"two times":                             {&model.Observation{EffectiveDateTime: &text, EffectivePeriod: model.NewPeriod("2026", "")}, model.Status("final")},
		"a code out of range":                   {&model.Observation{Text: &model.Narrative{Status: fhir.NarrativeStatus(9), Div: "x"}}, model.Status("final")},
		"a role of a source that was never set": {&model.Provenance{Entity: []fhir.ProvenanceEntity{{}}}, model.Codes{}},
		"a type of name that was never set":     {&model.Device{DeviceName: []model.DeviceName{{Name: "x"}}}, model.Status("active")},
		"a type that is not written here":       {&fhir.Composition{}, model.Status("final")},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := model.Encode(c.resource, c.codes, nil)
			require.Error(t, err)
		})
	}
}

// Null, empty strings, lists and objects are taken out, and what becomes empty
// by that (hl7.org/fhir/R4/json.html: none of them may be sent).
func TestEncodeScrubs(t *testing.T) {
	t.Parallel()
	empty := ""
	raw, err := model.Encode(&model.Procedure{
		Code:    &model.CodeableConcept{Text: &empty, Coding: []model.Coding{{}}},
		Note:    []model.Annotation{{}, {Text: "kept"}},
		Outcome: &model.CodeableConcept{},
	}, model.Status("completed"), nil)
	require.NoError(t, err)
	require.Equal(t, `{"resourceType":"Procedure","status":"completed","note":[{"text":"kept"}]}`, string(raw))
	raw, err = model.Encode(&model.Provenance{}, model.Codes{}, nil)
	require.NoError(t, err)
	require.Equal(t, `{"resourceType":"Provenance"}`, string(raw))
}

// A text that looks like an empty value is a text.
func TestScrubKeepsText(t *testing.T) {
	t.Parallel()
	const text = `{} [] ,"" :null`
	raw, err := model.Encode(&model.Observation{Code: model.Text("x"), ValueString: model.Str(text)}, model.Status("final"), nil)
	require.NoError(t, err)
	var back struct{ ValueString string }
	require.NoError(t, json.Unmarshal(raw, &back))
	require.Equal(t, text, back.ValueString)
}

func TestExtras(t *testing.T) {
	t.Parallel()
	o := observation()
	o.Component = []model.Component{{Code: model.Text("a")}, {Code: model.Text("b")}}
	raw, err := model.Encode(o, model.Status("final"), model.Extras{
		"_effectiveDateTime":         model.UnknownTime,
		"component/1/_valueDateTime": model.UnknownTime,
		"contained":                  json.RawMessage(`[{"resourceType":"Patient","id":"p","multipleBirthInteger":1.0}]`),
		"valueQuantity/_unit":        json.RawMessage(`{"id":"u"}`),
	})
	require.NoError(t, err)
	require.JSONEq(t, `{"resourceType":"Observation","status":"final","code":{"text":"size"},
		"valueQuantity":{"value":1.50,"unit":"mm","system":"http://unitsofmeasure.org","code":"mm","_unit":{"id":"u"}},
		"component":[{"code":{"text":"a"}},{"code":{"text":"b"},"_valueDateTime":{"extension":[{"url":"`+model.DataAbsentReason+`","valueCode":"unknown"}]}}],
		"_effectiveDateTime":{"extension":[{"url":"`+model.DataAbsentReason+`","valueCode":"unknown"}]},
		"contained":[{"resourceType":"Patient","id":"p","multipleBirthInteger":1.0}]}`, string(raw))
	require.Contains(t, string(raw), `1.50`, "digits are kept")
	require.Contains(t, string(raw), `1.0}`, "digits of what is foreign are kept")
}

func TestExtrasRefuse(t *testing.T) {
	t.Parallel()
	for _, path := range []string{"status", "component/2/_x", "component/x/_y", "nothing/_z", "code/text", "component/0"} {
		o := observation()
		o.Component = []model.Component{{Code: model.Text("a")}}
		_, err := model.Encode(o, model.Status("final"), model.Extras{path: model.UnknownTime})
		require.Error(t, err, path)
	}
	_, err := model.Encode(observation(), model.Status("final"), model.Extras{"_x": json.RawMessage(`{`)})
	require.Error(t, err)
}

// Resources of others keep what is unknown, their order and their digits.
func TestObjectKeepsEverything(t *testing.T) {
	t.Parallel()
	const raw = `{"resourceType":"X","_a":{"extension":[]},"b":1.500,"c":[true,null,"<&>"],"contained":[{"z":1,"a":2}]}`
	o, err := model.ParseObject([]byte(raw))
	require.NoError(t, err)
	back, err := o.JSON()
	require.NoError(t, err)
	require.Equal(t, raw, string(back))
	for _, bad := range []string{"", "[]", `"x"`, "{", `{"a"}`, "null", "{} {}",
		strings.Repeat(`{"a":`, 200) + "1" + strings.Repeat("}", 200)} {
		_, err := model.ParseObject([]byte(bad))
		require.Error(t, err, bad)
	}
}

func FuzzParseObject(f *testing.F) {
	f.Add([]byte(`{"a":[{"b":null}],"c":"\u0000"}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		o, err := model.ParseObject(raw)
		if err != nil {
			return
		}
		o.Scrub()
		back, err := o.JSON()
		require.NoError(t, err)
		require.True(t, json.Valid(back))
	})
}
