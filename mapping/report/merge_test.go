package report_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

func at(t *testing.T, s string) report.Time {
	t.Helper()
	parsed, err := report.ParseTime(s)
	require.NoError(t, err)
	return parsed
}

func twoLesions() report.Report {
	acc := report.Identifier{System: "urn:lab", Value: "A-2"}
	return report.Report{
		Lesions: []report.Lesion{
			{Number: 1, Resection: &report.Resection{Technique: report.ESD}, Specimen: &report.Specimen{Containers: []report.Container{{}}}},
			{Number: 2, Resection: &report.Resection{Technique: report.EMR}, Specimen: &report.Specimen{Containers: []report.Container{{Accession: &acc}}}},
		},
	}
}

func histologyPart(t *testing.T, id string, revision int, issued string, lesion int, um int) report.HistologyPart {
	return report.HistologyPart{
		Part: report.Part{
			PartID: report.Identifier{System: "urn:lab", Value: id}, Revision: revision,
			RecordedAt: at(t, issued),
			Match:      report.Match{Accession: &report.Identifier{System: "urn:lab", Value: "A-" + id}},
		},
		Results: []report.LesionHistology{{Lesion: lesion, Histology: report.Histology{
			Status: report.HistologyFinal, IssuedAt: at(t, issued), DepthUm: report.Int(um),
		}}},
	}
}

func eventPart(t *testing.T, id string, revision int, recorded string, e report.Event) report.EventsPart {
	e.RecordedAt = at(t, recorded)
	return report.EventsPart{
		Part: report.Part{
			PartID: report.Identifier{System: "urn:ward", Value: id}, Revision: revision, RecordedAt: at(t, recorded),
		},
		Events: []report.Event{e},
	}
}

// Whatever the order in which parts arrive, and however often, the case is the
// same.
func TestMergeDoesNotDependOnOrder(t *testing.T) {
	t.Parallel()
	histology := []report.HistologyPart{
		histologyPart(t, "1", 1, "2026-03-16T10:00:00+01:00", 1, 300),
		histologyPart(t, "1", 2, "2026-03-17T10:00:00+01:00", 1, 550),
		histologyPart(t, "1", 2, "2026-03-17T10:00:00+01:00", 1, 550),
		histologyPart(t, "2", 1, "2026-03-18T10:00:00+01:00", 2, 100),
		histologyPart(t, "3", 1, "2026-03-19T10:00:00+01:00", 2, 900),
	}
	events := []report.EventsPart{
		eventPart(t, "e", 1, "2026-03-15T10:00:00+01:00", report.Event{ID: "b1", Kind: report.EventBleeding}),
		eventPart(t, "e", 2, "2026-03-20T10:00:00+01:00", report.Event{ID: "b1", Kind: report.EventBleeding, Retracted: true}),
		eventPart(t, "f", 1, "2026-03-14T10:00:00+01:00", report.Event{ID: "s1", Kind: report.EventStricture}),
	}
	merged, findings := report.Merge(twoLesions(), histology, events)
	require.Empty(t, findings)
	require.Equal(t, "550", merged.Lesions[0].Histology.DepthUm.Text())
	require.Equal(t, "900", merged.Lesions[1].Histology.DepthUm.Text(), "the finding issued last counts")
	require.Equal(t, "A-1", merged.Lesions[0].Specimen.Containers[0].Accession.Value)
	require.Len(t, merged.Events, 2)
	require.True(t, merged.Events[1].Retracted)
	want, err := json.Marshal(merged)
	require.NoError(t, err)

	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		rng.Shuffle(len(histology), func(i, j int) { histology[i], histology[j] = histology[j], histology[i] })
		rng.Shuffle(len(events), func(i, j int) { events[i], events[j] = events[j], events[i] })
		again, _ := report.Merge(twoLesions(), histology, events)
		got, err := json.Marshal(again)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got))
	}
}

// A finding that names no lesion joins nothing and is said.
func TestMergeRefusesToGuessTheLesion(t *testing.T) {
	t.Parallel()
	part := histologyPart(t, "9", 1, "2026-03-16T10:00:00+01:00", 0, 300)
	merged, findings := report.Merge(twoLesions(), []report.HistologyPart{part}, nil)
	require.Len(t, findings, 1)
	require.Equal(t, "part.no-lesion", findings[0].ID)
	require.Nil(t, merged.Lesions[0].Histology)
	require.Nil(t, merged.Lesions[1].Histology)

	one := twoLesions()
	one.Lesions = one.Lesions[:1]
	merged, findings = report.Merge(one, []report.HistologyPart{part}, nil)
	require.Empty(t, findings)
	require.NotNil(t, merged.Lesions[0].Histology, "a case with one resected lesion needs no number")
}

// The number by which a part of several results found its case belongs to one
// of them; nobody says which.
func TestMergeGivesOneAccessionToOneLesion(t *testing.T) {
	t.Parallel()
	part := histologyPart(t, "1", 1, "2026-03-16T10:00:00+01:00", 1, 300)
	part.Results = append(part.Results, report.LesionHistology{Lesion: 2, Histology: part.Results[0].Histology})
	merged, findings := report.Merge(twoLesions(), []report.HistologyPart{part}, nil)
	require.Empty(t, findings)
	require.Nil(t, merged.Lesions[0].Specimen.Containers[0].Accession)
	require.Equal(t, "A-2", merged.Lesions[1].Specimen.Containers[0].Accession.Value)
	require.Nil(t, merged.Lesions[1].Histology.Accession)
}

// A withdrawn part takes back what it said; the report's own finding stands.
func TestMergeOfAWithdrawnPart(t *testing.T) {
	t.Parallel()
	said := histologyPart(t, "1", 1, "2026-03-16T10:00:00+01:00", 1, 300)
	withdrawn := histologyPart(t, "1", 2, "2026-03-17T10:00:00+01:00", 1, 300)
	withdrawn.Withdrawn = true
	merged, _ := report.Merge(twoLesions(), []report.HistologyPart{said, withdrawn}, nil)
	require.Nil(t, merged.Lesions[0].Histology)
}

// Decimals keep their digits, absences stay apart, exponents are refused.
func TestNumber(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"1.50", "0", "-1", "12.0", `"unknown"`, `"not-assessed"`, `"not-applicable"`} {
		var n report.Number
		require.NoError(t, json.Unmarshal([]byte(text), &n), text)
		back, err := json.Marshal(n)
		require.NoError(t, err)
		require.Equal(t, text, string(back))
	}
	for _, text := range []string{"1e3", "1e999", "0.1e-5", `"22 mm"`, `""`, "true", "[]", "1234567890123456", "null"} {
		var n report.Number
		err := n.UnmarshalJSON([]byte(text))
		require.Error(t, err, text)
	}
}

// Times keep zone and spelling; a time without a zone is none.
func TestTimeAndDate(t *testing.T) {
	t.Parallel()
	var when report.Time
	require.NoError(t, json.Unmarshal([]byte(`"2026-03-10T09:20:00+01:00"`), &when))
	require.Equal(t, "2026-03-10T09:20:00+01:00", when.Text())
	for _, bad := range []string{`"2026-03-10T09:20:00"`, `"2026-03-10"`, `"0001-01-01T00:00:00Z"`, `5`} {
		require.Error(t, json.Unmarshal([]byte(bad), &when), bad)
	}
	var day report.Date
	for _, good := range []string{`"2026"`, `"2026-09"`, `"2026-02-28"`} {
		require.NoError(t, json.Unmarshal([]byte(good), &day), good)
	}
	for _, bad := range []string{`"2026-02-30"`, `"26"`, `"2026-9"`, `""`} {
		require.Error(t, json.Unmarshal([]byte(bad), &day), bad)
	}
}
