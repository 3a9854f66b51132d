package assess

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// plainEvent is an event as it is written down when it had no consequences:
// the fields that rule the rest out, and no others.
func plainEvent(change func(e *report.Event)) report.Report {
	rep := report.Report{
		Lesions: []report.Lesion{{Number: 1, Examination: report.Examination{Organ: report.Stomach}, Resection: &report.Resection{Technique: report.ESD}}},
		Events: []report.Event{{ID: "E1", Lesion: 1, Kind: report.EventBleeding, Timing: report.AfterSession, InterventionNeeded: report.No,
			Transfusion: report.No, UnplannedContact: report.ContactPhone, Drugs: report.DrugsNone, UnplannedNights: report.Int(0), Outcome: report.OutcomeResolved}},
	}
	change(&rep.Events[0])
	return rep
}

// An event is graded by what its record rules out (ASGE: Cotton, Gastrointest
// Endosc 2010;71:446; AGREE: Nass, Gastrointest Endosc 2022;95:1078), and stays
// open where it rules nothing out.
func TestPlainEventsAreGraded(t *testing.T) {
	t.Parallel()
	const asge, agree = "R9.ae.asge2010", "R9.ae.agree2022"
	for _, c := range []struct {
		name, rule, want string
		change           func(e *report.Event)
	}{
		{"nothing needed", asge, "incident", func(*report.Event) {}},
		{"nothing needed", agree, "none", func(*report.Event) {}},
		{"resolved leaves no disability", asge, "incident", func(e *report.Event) { e.ICUNights = report.Int(0) }},
		{"resolved with sequelae leaves it open", asge, CannotBeAssessed, func(e *report.Event) { e.Outcome = report.OutcomeSequelae }},
		{"recovering leaves it open", asge, CannotBeAssessed, func(e *report.Event) { e.Outcome = report.OutcomeRecovering }},
		{"a stated disability counts", asge, "severe", func(e *report.Event) { e.PermanentDisability = report.Yes }},
		{"no night in intensive care, no organ failure", agree, "IIIa", func(e *report.Event) {
			e.ICUNights, e.InterventionNeeded, e.UnplannedNights = report.Int(0), report.Yes, report.Int(2)
			e.Interventions = []report.Intervention{{Kind: report.InterveneHaemostasis}}
		}},
		{"organ failure stays open after nights and drugs", agree, CannotBeAssessed, func(e *report.Event) {
			e.UnplannedNights, e.Drugs = report.Int(2), report.DrugsOther
		}},
		{"no night, yet perhaps hours in hospital", agree, CannotBeAssessed, func(e *report.Event) { e.UnplannedContact = report.ContactClinic }},
		{"an emergency visit without a night", agree, "I", func(e *report.Event) { e.UnplannedContact = report.ContactEmergency }},
		{"drugs without a night, care open", agree, CannotBeAssessed, func(e *report.Event) { e.Drugs = report.DrugsOther }},
		{"during the session it may have been aborted", asge, CannotBeAssessed, func(e *report.Event) { e.Timing = report.DuringSession }},
	} {
		require.Equal(t, c.want, answerIn(t, plainEvent(c.change), c.rule).Answer, "%s, %s", c.name, c.rule)
	}
}

// The tables as read do not say whether closing a perforation in the same
// session is an endoscopic intervention. It is not counted, and said.
func TestClosureInTheSessionIsSaid(t *testing.T) {
	t.Parallel()
	at := func(s string) report.Time { return must(report.ParseTime(s)) }
	rep := plainEvent(func(e *report.Event) {
		e.Kind, e.Timing, e.InterventionNeeded, e.ProcedureAborted = report.EventPerforation, report.DuringSession, report.Yes, report.No
		e.ICUNights, e.AdmissionH, e.ObservationH = report.Int(0), report.Int(0), report.Int(0)
		e.Interventions = []report.Intervention{{Kind: report.InterveneClosure, At: at("2026-03-10T10:00:00+01:00")}}
	})
	rep.Session.End = at("2026-03-10T11:00:00+01:00")
	const said = "not counted as a further intervention"
	require.Contains(t, allText(answerIn(t, rep, "R9.ae.agree2022")), said)
	require.Equal(t, "none", answerIn(t, rep, "R9.ae.agree2022").Answer)
	require.Contains(t, allText(answerIn(t, rep, "R9.ae.asge2010")), said)
	rep.Session.End = at("2026-03-10T09:00:00+01:00") // after the session
	require.Equal(t, "IIIa", answerIn(t, rep, "R9.ae.agree2022").Answer)
	require.NotContains(t, allText(answerIn(t, rep, "R9.ae.agree2022")), said)
}

func allText(r Result) string {
	out := r.Reason
	for _, c := range r.Cautions {
		out += " " + c
	}
	return out
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func seenIn(organ report.Organ, e report.Examination) report.Report {
	e.Organ = organ
	return report.Report{Lesions: []report.Lesion{{Number: 1, Examination: e, Resection: &report.Resection{Technique: report.ESD}}}}
}

func asked(rep report.Report, id string) bool {
	for _, got := range DefaultBook().Assess(rep) {
		if got.Rule == id {
			return true
		}
	}
	return false
}

// Paris types that name no stalk say that there is none, and height says
// nothing of a purely depressed lesion (Gastrointest Endosc 2003;58:S3).
func TestParisNamesTheStalk(t *testing.T) {
	t.Parallel()
	const rule = "R8.morph.paris"
	types := func(p ...report.ParisType) report.Report {
		return seenIn(report.Stomach, report.Examination{Paris: p, HeightMm: report.Int(2)})
	}
	got := answerIn(t, types(report.Paris0IIa, report.Paris0IIc), rule)
	require.Equal(t, "0-IIa", got.Answer)
	require.Contains(t, got.Inputs, "/lesions/0/examination/paris")
	require.Equal(t, CannotBeAssessed, answerIn(t, types(report.Paris0Isp), rule).Answer, "a stalk of a kind")
	require.Equal(t, CannotBeAssessed, answerIn(t, types(report.ParisType(report.Unknown)), rule).Answer)
	require.Equal(t, CannotBeAssessed, answerIn(t, types(), rule).Answer)
	require.False(t, asked(types(report.Paris0IIc), rule))
	require.False(t, asked(types(report.Paris0III), rule))
}

// A laterally spreading tumour begins at 10 mm (Bogie, Endoscopy 2018), so a
// smaller lesion has no bulky part in one.
func TestColorectalTechniqueBelowTenMillimetres(t *testing.T) {
	t.Parallel()
	const rule = "R6.colorectal.technique.esge2022"
	flat := func(mm string, change func(*report.Examination)) report.Report {
		e := report.Examination{Paris: []report.ParisType{report.Paris0IIa}, SizeLongMm: figure(mm)}
		change(&e)
		return seenIn(report.Colon, e)
	}
	asIs := func(*report.Examination) {}
	require.Equal(t, "not-named", answerIn(t, flat("9", asIs), rule).Answer)
	require.Equal(t, CannotBeAssessed, answerIn(t, flat("10", asIs), rule).Answer)
	const said = "speaks for deep submucosal invasion"
	require.NotContains(t, allText(answerIn(t, flat("9", asIs), rule)), said)
	for name, change := range map[string]func(*report.Examination){
		"NICE 3": func(e *report.Examination) { e.NICE = report.NICE3 }, "JNET 3": func(e *report.Examination) { e.JNET = report.JNET3 },
		"type VN pits": func(e *report.Examination) { e.Kudo = []report.Kudo{report.KudoVN} },
	} {
		require.Contains(t, allText(answerIn(t, flat("25", change), rule)), name+") "+said)
	}
}

// The items of SMSA are said as the publication prints them: 1 to 9 for size,
// 1 to 3 for shape, 1 and 2 for the side, 1 and 3 for access.
func TestSMSASaysItsItems(t *testing.T) {
	t.Parallel()
	got := answerIn(t, seenIn(report.Colon, report.Examination{Site: report.SiteCaecum, Paris: []report.ParisType{report.Paris0IIa},
		SizeLongMm: report.Int(40), Access: report.AccessDifficult}), "R6.colorectal.smsa")
	require.Equal(t, "17 points (size 40 mm: 9, flat: 3, right-sided: 2, access difficult: 3). SMSA level IV.", got.Reason)
	got = answerIn(t, seenIn(report.Rectum, report.Examination{Paris: []report.ParisType{report.Paris0Is},
		SizeLongMm: report.Int(9), Access: report.AccessEasy}), "R6.colorectal.smsa")
	require.Equal(t, "5 points (size 9 mm: 1, sessile: 2, left-sided: 1, access not difficult: 1). SMSA level I.", got.Reason)
}
