package fhir_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// FuzzMap maps cases made from a seed, with free text and identifiers from the
// fuzzer in every place that takes them. Nothing panics, and every graph that
// leaves passes its checks and is JSON.
func FuzzMap(f *testing.F) {
	f.Add(uint64(1), "text", "id", false)
	f.Add(uint64(7), "</div>\x00", `a|b,c$d\e`, true)
	f.Add(uint64(4711), "   ", "%", true)
	book := assess.DefaultBook()
	f.Fuzz(func(t *testing.T, seed uint64, text, id string, licensed bool) {
		rep := sample.Make(seed).Merged()
		hostile(&rep, text, id)
		opt := options()
		opt.Licensed = licensed
		g, err := fhir.Map(rep, book.Assess(rep), opt)
		if err != nil {
			return // an identifier that is blank once cleaned is refused, not sent
		}
		require.NoError(t, fhir.Validate(g))
		require.True(t, json.Valid(fhir.Bundle(g)))
	})
}

// hostile puts text and id where a sender may put its own.
func hostile(rep *report.Report, text, id string) {
	rep.StatusReason, rep.Patient.Identifier.Value, rep.ReportID.Value = text, id, id
	for i := range rep.Lesions {
		l := &rep.Lesions[i]
		l.Comment = text
		if l.Resection != nil {
			l.Resection.StopText = text
		}
		if l.Specimen != nil {
			l.Specimen.Text = text
		}
		if l.Histology != nil {
			l.Histology.Text = text
		}
	}
	for i := range rep.Events {
		rep.Events[i].Text = text
	}
	for i := range rep.Images {
		rep.Images[i].Title, rep.Images[i].URL = text, "https://x.example/"+id
	}
	if rep.Plan != nil {
		rep.Plan.Text = text
	}
}

// FuzzMapDocument maps any document that decodes into a report at all, valid or
// not: it may be refused, but never panics.
func FuzzMapDocument(f *testing.F) {
	raw, err := json.Marshal(gastricESD(f))
	require.NoError(f, err)
	f.Add(raw)
	f.Add([]byte(`{"status":"draft","lesions":[{"number":1,"examination":{"organ":"stomach"},"resection":{"technique":"esd"},"histology":{"status":"final"}}]}`))
	f.Add([]byte(`{"status":"withdrawn","events":[{"kind":"death"}],"images":[{}],"plan":{"follow_ups":[{}],"referrals":[{}]}}`))
	book := assess.DefaultBook()
	f.Fuzz(func(t *testing.T, raw []byte) {
		var rep report.Report
		if json.Unmarshal(raw, &rep) != nil {
			return
		}
		g, err := fhir.Map(rep, book.Assess(rep), options())
		if err == nil {
			require.NoError(t, fhir.Validate(g))
			require.True(t, json.Valid(fhir.Bundle(g)))
		}
	})
}

// FuzzVoid voids anything: it is refused, left as it is, or stays JSON.
func FuzzVoid(f *testing.F) {
	f.Add("Observation", []byte(`{"resourceType":"Observation","status":"final","text":{"div":"x"}}`))
	f.Add("AdverseEvent", []byte(`{"resourceType":"AdverseEvent","meta":{"tag":[1,null,{"system":3}]}}`))
	f.Fuzz(func(t *testing.T, kind string, raw []byte) {
		out, err := fhir.Void(kind, raw)
		if err == nil && out != nil {
			require.True(t, json.Valid(out))
		}
	})
}
