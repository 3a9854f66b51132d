package fhir_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// revision is the gastric case as one revision of its report says it.
func revision(t testing.TB, number int, status report.Status, signed string, change func(*report.Report)) report.Report {
	t.Helper()
	rep := gastricESD(t)
	rep.Revision, rep.Status, rep.SignedAt = number, status, at(signed)
	if change != nil {
		change(&rep)
	}
	return rep
}

// mappedAfter maps a revision that has earlier ones.
func mappedAfter(t testing.TB, rep report.Report, earlier ...report.Report) graph.Graph {
	t.Helper()
	opt := options()
	book := assess.DefaultBook()
	for _, e := range earlier {
		opt.Earlier = append(opt.Earlier, fhir.Earlier{Report: e, Results: book.Assess(e)})
	}
	g, err := fhir.Map(rep, book.Assess(rep), opt)
	require.NoError(t, err)
	return g
}

// facts are status and time of issue of every Observation, by role.
func facts(t testing.TB, g graph.Graph) map[string][2]string {
	t.Helper()
	out := map[string][2]string{}
	for _, r := range g.Resources {
		if r.Type == "Observation" {
			var o struct{ Status, Issued string }
			require.NoError(t, json.Unmarshal(r.Body, &o))
			out[r.Role] = [2]string{o.Status, o.Issued}
		}
	}
	return out
}

const (
	firstSigned = "2026-02-03T11:52:00+01:00"
	thenSigned  = "2026-02-04T08:00:00+01:00"
	lastSigned  = "2026-02-05T08:00:00+01:00"
)

func largerLesion(r *report.Report) { r.Lesions[0].Examination.SizeLongMm = number("24") }

// R4: amended and corrected are said of an Observation that "has been modified"
// after it was final (hl7.org/fhir/R4/valueset-observation-status.html); so what
// a new revision leaves as it was stays final, and its time of issue stays too.
func TestOnlyWhatChangedIsAmended(t *testing.T) {
	t.Parallel()
	signed := revision(t, 1, report.Signed, firstSigned, nil)
	amended := revision(t, 2, report.Amended, thenSigned, largerLesion)
	corrected := revision(t, 3, report.Corrected, lastSigned, func(r *report.Report) {
		largerLesion(r)
		r.Lesions[0].Examination.Wall = report.WallAnterior
	})
	const size, panel, place, procedure = "lesion/1/examination/lesion-size-long", "lesion/1/examination", "lesion/1/examination/lesion-location", "lesion/1/resection-facts"

	got := facts(t, mappedAfter(t, amended, signed))
	require.Equal(t, [2]string{"amended", thenSigned}, got[size])
	require.Equal(t, [2]string{"amended", thenSigned}, got[panel], "a panel goes with its members")
	require.Equal(t, [2]string{"final", firstSigned}, got[place])
	require.Equal(t, [2]string{"final", firstSigned}, got[procedure])

	got = facts(t, mappedAfter(t, corrected, signed, amended))
	require.Equal(t, [2]string{"amended", thenSigned}, got[size], "it was changed by the revision before")
	require.Equal(t, [2]string{"corrected", lastSigned}, got[place])
	require.Equal(t, [2]string{"corrected", lastSigned}, got[panel])
	require.Equal(t, [2]string{"final", firstSigned}, got[procedure])
	changed := 0
	for role, f := range got {
		if f[0] != "final" {
			changed++
			require.False(t, strings.HasPrefix(role, procedure), role)
		}
	}
	require.Less(t, changed, len(got)/4, "most of the report was left as it was")
	require.Equal(t, set("corrected"), statusesOf(t, mappedAfter(t, corrected, signed, amended))["report/endoscopy"],
		"the report itself was corrected")
}

// A change and its taking back are two changes; a new fact comes with the
// revision that brought it.
func TestChangesBackAndForth(t *testing.T) {
	t.Parallel()
	signed := revision(t, 1, report.Signed, firstSigned, nil)
	amended := revision(t, 2, report.Amended, thenSigned, largerLesion)
	back := revision(t, 3, report.Corrected, lastSigned, nil)
	require.Equal(t, [2]string{"corrected", lastSigned}, facts(t, mappedAfter(t, back, signed, amended))["lesion/1/examination/lesion-size-long"])

	without := revision(t, 1, report.Signed, firstSigned, func(r *report.Report) { r.Lesions[0].Examination.SizeLongMm = report.Number{} })
	require.Equal(t, [2]string{"amended", thenSigned}, facts(t, mappedAfter(t, amended, without))["lesion/1/examination/lesion-size-long"])
}

// Nothing is amended before it is final: a draft is no version. And where no
// earlier signed revision is known, it is not known what changed.
func TestWithoutAnEarlierSignedRevision(t *testing.T) {
	t.Parallel()
	draft := revision(t, 1, report.Draft, firstSigned, nil)
	signed := revision(t, 2, report.Signed, thenSigned, largerLesion)
	for role, f := range facts(t, mappedAfter(t, signed, draft)) {
		require.Equal(t, [2]string{"final", thenSigned}, f, role)
	}
	amended := revision(t, 3, report.Amended, lastSigned, nil)
	for role, f := range facts(t, mappedAfter(t, amended, draft)) {
		require.Equal(t, [2]string{"amended", lastSigned}, f, role)
	}
	// The first that is known may itself be an amendment.
	later := revision(t, 4, report.Corrected, "2026-02-06T08:00:00+01:00", nil)
	for role, f := range facts(t, mappedAfter(t, later, amended)) {
		require.Equal(t, [2]string{"amended", lastSigned}, f, role)
	}
}

// A result that rests on report and histology is as settled as the less
// settled of the two; the pathologist's findings are not the endoscopist's to
// amend.
func TestHistologyKeepsItsOwnStatus(t *testing.T) {
	t.Parallel()
	found := withHistology(t, report.HistologyAmended).Lesions[0].Histology
	with := func(r *report.Report) { r.Lesions[0].Histology = found }
	signed := revision(t, 1, report.Signed, firstSigned, with)
	corrected := revision(t, 2, report.Corrected, thenSigned, func(r *report.Report) { with(r); r.StatusReason = "A word." })
	for role, f := range facts(t, mappedAfter(t, corrected, signed)) {
		switch {
		case strings.HasPrefix(role, "lesion/1/histology"):
			require.Equal(t, "amended", f[0], role)
		case !strings.Contains(role, "/derived/"):
			require.Equal(t, "final", f[0], role)
		default:
			require.Contains(t, []string{"final", "amended"}, f[0], role)
		}
	}
}
