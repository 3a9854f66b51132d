package assess

import (
	"encoding/json"
	"fmt"
	"time"

	"enbloc/mapping/report"
)

// Starting points of the other rules.

// colonT1 is a colorectal cancer with the specimen's defaults.
func colonT1() *caseReport {
	c := specimen(report.Colon)
	c.histology().Types = []report.HistologyType{report.TypeAdenocarcinoma}
	c.histology().PT, c.histology().Grade, c.histology().WorstGrade = report.PT1, report.GradeModerate, report.GradeModerate
	c.histology().Budding = report.BD1
	return c
}

func squamousCase() *caseReport {
	c := specimen(report.Oesophagus)
	c.seen().Mucosa = report.Squamous
	c.histology().Types = []report.HistologyType{report.TypeSCC}
	c.histology().Grade = report.GradeModerate
	return c
}

func squamousSeen() *caseReport {
	c := blank(report.Oesophagus)
	c.seen().Mucosa = report.Squamous
	return c
}

func barrettCase() *caseReport {
	c := specimen(report.Oesophagus)
	c.seen().Mucosa = report.Barrett
	c.histology().Types = []report.HistologyType{report.TypeAdenocarcinoma}
	return c
}

// drugsKnown is a resection whose list of drugs is complete, and as yet empty.
func drugsKnown(organ report.Organ, technique report.Technique) func() *caseReport {
	return func() *caseReport {
		c := blank(organ)
		c.lesion().Resection = &report.Resection{Technique: technique}
		c.Before = &report.Before{AntithromboticHistory: report.HistoryComplete}
		return c
	}
}

const sessionEnd = "2026-03-10T10:00:00+01:00"

// uneventful is an event of which everything is known and nothing happened:
// the tables grade by what is named, so what a case does not name did not
// happen.
func uneventful(kind report.EventKind, organ report.Organ) func() *caseReport {
	return func() *caseReport {
		c := blank(organ)
		c.Session.End = moment(0)
		c.Events = []report.Event{{
			ID: "e1", Lesion: 1, Kind: kind, Timing: report.AfterSession, OccurredAt: moment(8 * time.Hour), Transfusion: report.No,
			InterventionNeeded: report.No, ProcedureAborted: report.No, UnplannedContact: report.ContactNone, Drugs: report.DrugsNone,
			ObservationH: report.Int(0), AdmissionH: report.Int(0), UnplannedNights: report.Int(0), ICUNights: report.Int(0),
			OrganFailures: report.Int(0), PermanentDisability: report.No, Outcome: report.OutcomeResolved,
		}}
		return c
	}
}

// moment is a time after the end of the session.
func moment(after time.Duration) report.Time {
	end, err := time.Parse(time.RFC3339, sessionEnd)
	if err != nil {
		panic(err)
	}
	t, err := report.ParseTime(end.Add(after).Format(time.RFC3339Nano))
	if err != nil {
		panic(err)
	}
	return t
}

func drugState(class report.DrugClass) setter {
	with := func(m report.DrugManagement) func(*caseReport) {
		return func(c *caseReport) {
			c.Before.Antithrombotics = append(c.Before.Antithrombotics, report.Antithrombotic{Class: class, Management: m})
		}
	}
	return word(map[string]func(*caseReport){
		"none": func(*caseReport) {}, "continued": with(report.Continued), "interrupted": with(report.Interrupted),
	})
}

func takes(class report.DrugClass) setter {
	return flag(func(c *caseReport, is bool) {
		if is {
			c.Before.Antithrombotics = append(c.Before.Antithrombotics, report.Antithrombotic{Class: class, Management: report.Continued})
		}
	})
}

func needed(kind report.InterventionKind) setter {
	return flag(func(c *caseReport, is bool) {
		if is {
			c.event().Interventions = append(c.event().Interventions, report.Intervention{Kind: kind})
			c.event().InterventionNeeded = ""
		}
	})
}

func asaClass(c *caseReport, v json.RawMessage) error {
	return whole(func(c *caseReport, n int) { c.Before.ASAClass = report.ASAClass(fmt.Sprint(n)) })(c, v)
}

func hoursAfter(c *caseReport, v json.RawMessage) error {
	var h float64
	if err := json.Unmarshal(v, &h); err != nil {
		return err
	}
	c.event().OccurredAt = moment(time.Duration(h * float64(time.Hour)))
	return nil
}

// cuttingTime lays one incision and one dissection over the given minutes.
func cuttingTime(c *caseReport, v json.RawMessage) error {
	var minutes float64
	if err := json.Unmarshal(v, &minutes); err != nil {
		return err
	}
	end := moment(time.Duration(minutes * float64(time.Minute)))
	c.resection().Phases = []report.Phase{
		{Step: report.StepIncision, Start: moment(0), End: end}, {Step: report.StepDissection, Start: moment(0), End: end},
	}
	return nil
}

// polypCase collects what a case says of a session's polyps and lays them out
// as lesions at the end: one polyp where no number is given, the first of the
// size given, the others small.
func polypCase() *caseReport {
	c := blank(report.Colon)
	c.lesion().Histology = &report.Histology{Types: []report.HistologyType{report.TypeTubularAdenoma}, Dysplasia: report.DysplasiaLow}
	c.lesion().Resection = &report.Resection{Technique: report.EMR, Pieces: report.Int(1)}
	c.seen().SizeLongMm = report.Int(3)
	return c
}

var polypCount = whole(func(c *caseReport, n int) {
	c.finally(func(c *caseReport) error {
		if n == 0 {
			c.histology().Types = []report.HistologyType{report.TypeHyperplastic}
			return nil
		}
		for len(c.Lesions) < n {
			other := polypCase().Lesions[0]
			other.Number = len(c.Lesions) + 1
			c.Lesions = append(c.Lesions, other)
		}
		return nil
	})
})
