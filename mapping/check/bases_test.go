package check

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/schemas"
)

// read decodes one of the documents that the schema's own tests use.
func read[T any](t testing.TB, name string, decode func([]byte) (T, []report.Finding)) T {
	t.Helper()
	raw, err := os.ReadFile("../../schemas/testdata/" + name)
	require.NoError(t, err)
	document, findings := decode(raw)
	require.Empty(t, findings)
	return document
}

// The bases are reports in which nothing is amiss, one for each organ. Trips
// change one thing in one of them.

func gastric(t testing.TB) report.Report { return read(t, "gastric.json", schemas.DecodeReport) }

// bare is the gastric report without what only a gastric ESD has.
func bare(t testing.TB, kind report.SessionKind, e report.Examination) report.Report {
	r := gastric(t)
	r.Before.Earlier, r.Before.HPylori, r.Plan.HPylori = nil, "", ""
	r.Session.Kind = kind
	l := &r.Lesions[0]
	e.SizeLongMm, e.SizeShortMm = report.Int(22), report.Int(15)
	l.Examination = e
	l.Histology.Undifferentiated = nil
	return r
}

// colonic is an EMR of a granular lateral-spreading adenoma.
func colonic(t testing.TB) report.Report {
	r := bare(t, report.Colonoscopy, report.Examination{
		Organ: report.Colon, Site: report.SiteAscending, Paris: []report.ParisType{report.Paris0IIa},
		LST: report.LSTGranularHomogeneous, JNET: report.JNET2A, NICE: report.NICE2, NonLifting: report.Negative,
		JNETVessel: report.VesselRegular, JNETSurface: report.SurfaceRegular, Kudo: []report.Kudo{report.KudoIV},
	})
	r.Before.Boston = &report.Boston{Right: report.Int(3), Transverse: report.Int(3), Left: report.Int(3)}
	l := &r.Lesions[0]
	l.Resection = &report.Resection{
		Technique: report.EMR, Completion: report.CompletionComplete, Knives: []report.Instrument{report.Snare}, Pieces: report.Int(1),
		Injections: []report.Injection{{Agent: report.InjectSaline, Extent: report.Partial, Timing: report.InjectionInitial}},
	}
	h := l.Histology
	h.Types, h.PT, h.DepthUm, h.DepthFrom = []report.HistologyType{report.TypeTubularAdenoma}, report.PTis, report.Number{}, ""
	return r
}

// squamous is an ESD of a squamous cancer of the oesophagus.
func squamous(t testing.TB) report.Report {
	r := bare(t, report.UpperEndoscopy, report.Examination{
		Organ: report.Oesophagus, Site: report.SiteThoracic, Mucosa: report.Squamous, Third: report.MiddleThird,
		DistanceIncisorsCm: report.Int(29), Paris: []report.ParisType{report.Paris0IIb}, PredictedDepth: report.PredictT1aEPLPM,
	})
	rs := r.Lesions[0].Resection
	rs.DefectCircumferencePct, rs.StricturePrevention = report.Int(50), report.PreventNone
	h := r.Lesions[0].Histology
	h.Types, h.PT, h.DepthUm = []report.HistologyType{report.TypeSCC}, report.PT1bSM1, report.Int(150)
	return r
}

// duodenal is an EMR of a duodenal adenoma.
func duodenal(t testing.TB) report.Report {
	r := colonic(t)
	r.Session.Kind = report.UpperEndoscopy
	r.Before.Boston = nil
	r.Lesions[0].Examination = report.Examination{
		Organ: report.Duodenum, Site: report.SiteSecondPart, Papilla: report.No, Paris: []report.ParisType{report.Paris0IIa},
		SizeLongMm: report.Int(22), SizeShortMm: report.Int(15),
	}
	return r
}

// copyOf is a deep copy, so that a trip cannot reach another test.
func copyOf[T any](t testing.TB, v T) T {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	var c T
	require.NoError(t, json.Unmarshal(raw, &c))
	return c
}
