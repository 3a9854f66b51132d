package rebuild_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/rebuild"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/testdata/cases"
)

// requireSame compares two reports as records.
func requireSame(t *testing.T, want, got report.Report, name any) {
	t.Helper()
	w, err := rebuild.Facts(want)
	require.NoError(t, err)
	g, err := rebuild.Facts(got)
	require.NoError(t, err)
	x, err := json.MarshalIndent(w, "", " ")
	require.NoError(t, err)
	y, err := json.MarshalIndent(g, "", " ")
	require.NoError(t, err)
	require.Equal(t, string(x), string(y), "case %v", name)
}

func roundTrip(t *testing.T, rep report.Report, licensed bool) report.Report {
	t.Helper()
	pipeline := mapping.New([]byte("HTEST rebuild key, no secret"))
	pipeline.FHIR.Licensed = licensed
	g, err := pipeline.Map(rep, 1)
	require.NoError(t, err)
	record, err := rebuild.FromGraph(g)
	require.NoError(t, err)
	back, err := record.Report()
	require.NoError(t, err)
	return back
}

// Three hundred cases that use every value of every enumeration and every
// optional part: whatever the list of losses does not name comes back as it was
// sent, from codes, links and units alone.
func TestEveryFactComesBack(t *testing.T) {
	t.Parallel()
	for i, c := range sample.Cover(sample.CoverAll) {
		rep := c.Merged()
		if rep.Status == report.Withdrawn {
			continue
		}
		requireSame(t, rep, roundTrip(t, rep, i%2 == 1), i)
	}
}

// The example cases, whole.
func TestExamplesComeBack(t *testing.T) {
	t.Parallel()
	for _, c := range cases.All() {
		var rep report.Report
		var histology []report.HistologyPart
		var events []report.EventsPart
		for _, d := range c.Documents {
			switch d.Kind {
			case cases.Report:
				rep = report.Report{}
				require.NoError(t, json.Unmarshal(d.JSON, &rep))
			case cases.Histology:
				var part report.HistologyPart
				require.NoError(t, json.Unmarshal(d.JSON, &part))
				histology = append(histology, part)
			case cases.Events:
				var part report.EventsPart
				require.NoError(t, json.Unmarshal(d.JSON, &part))
				events = append(events, part)
			}
		}
		merged, _ := report.Merge(rep, histology, events)
		if merged.Status != report.Withdrawn {
			requireSame(t, merged, roundTrip(t, merged, false), c.Name)
		}
	}
}

// A record that is void says nothing.
func TestVoidSaysNothing(t *testing.T) {
	t.Parallel()
	rep := sample.Make(3).Merged()
	rep.Status = report.Withdrawn
	back := roundTrip(t, rep, false)
	require.Empty(t, back.Events)
	require.Empty(t, back.ReportID.Value)
	for _, l := range back.Lesions {
		require.Nil(t, l.Histology)
		require.Empty(t, l.Examination.Organ)
	}
}

// The comparison notices a change of every kind of fact; otherwise the tests
// above would prove nothing.
func TestComparisonNotices(t *testing.T) {
	t.Parallel()
	var rep report.Report
	for seed := uint64(0); rep.Lesions == nil || rep.Lesions[0].Histology == nil || rep.Lesions[0].Specimen == nil; seed++ {
		rep = sample.Make(seed).Merged()
	}
	for name, change := range map[string]func(*report.Report){
		"size":   func(r *report.Report) { r.Lesions[0].Examination.SizeLongMm = report.Float(99.5) },
		"paris":  func(r *report.Report) { r.Lesions[0].Examination.Paris = []report.ParisType{"0-III"} },
		"margin": func(r *report.Report) { r.Lesions[0].Histology.VerticalMargin = "unknown" },
		"time":   func(r *report.Report) { r.Session.End = r.Session.Start },
		"specimen": func(r *report.Report) {
			r.Lesions[0].Specimen.SizeShortMm = report.Absent(report.NotAssessed)
		},
		"digits": func(r *report.Report) {
			n, err := report.NewNumber(r.Patient.AgeY.Text() + ".0")
			require.NoError(t, err)
			r.Patient.AgeY = n
		},
	} {
		changed := rep
		changed.Lesions = append([]report.Lesion{}, rep.Lesions...)
		histology, specimen := *rep.Lesions[0].Histology, *rep.Lesions[0].Specimen
		changed.Lesions[0].Histology, changed.Lesions[0].Specimen = &histology, &specimen
		change(&changed)
		a, err := rebuild.Facts(rep)
		require.NoError(t, err)
		b, err := rebuild.Facts(changed)
		require.NoError(t, err)
		require.NotEqual(t, a, b, name)
	}
}
