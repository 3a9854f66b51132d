package rebuild

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"enbloc/mapping/report"
)

// Loss is something that a report says and that no coded element of the record
// holds, or not as it was said. All but what is only order, default or envelope
// stands in the narrative of the report, in words.
type Loss struct {
	// Field is what is concerned, in the terms of the report.
	Field string
	// Why says what the record holds instead.
	Why    string
	reduce func(*report.Report)
}

// WordsOnly lists every loss. A test holds the list to be complete: whatever is
// not on it comes back as it was sent.
func WordsOnly() []Loss { return slices.Clone(losses) }

// Facts reduces a report to what the coded elements of its record hold, so that
// two reports can be compared as records.
func Facts(rep report.Report) (report.Report, error) {
	out, err := copyOf(rep)
	if err != nil {
		return report.Report{}, err
	}
	for _, loss := range losses {
		loss.reduce(&out)
	}
	return out, nil
}

// copyOf is a deep copy.
func copyOf(rep report.Report) (out report.Report, err error) {
	raw, err := json.Marshal(rep)
	if err == nil {
		err = json.Unmarshal(raw, &out)
	}
	if err != nil {
		return report.Report{}, fmt.Errorf("copying a report: %w", err)
	}
	return out, nil
}

var losses = []Loss{
	{"schema, source_system, revision, signed_at, status_reason, author, signer",
		"said by the Provenances of the case, which a reader may not be given; the sending system is nowhere",
		func(r *report.Report) {
			r.Schema, r.SourceSystem, r.Revision, r.SignedAt, r.StatusReason, r.Author, r.Signer = "", "", 0, report.Time{}, "", nil, nil
		}},
	{"events[].id", "only as a key: the sender's number may mean something outside",
		func(r *report.Report) {
			r.Events = slices.DeleteFunc(r.Events, func(e report.Event) bool { return e.Retracted }) // void, so it says nothing
			for i := range r.Events {
				r.Events[i].ID = ""
			}
		}},
	{"events[].lesion, images[].lesion", "the resection; of a lesion that was left, the session only",
		func(r *report.Report) {
			for i, e := range r.Events {
				if !resected(r, e.Lesion) {
					r.Events[i].Lesion = 0
				}
			}
			for i, m := range r.Images {
				if !resected(r, m.Lesion) {
					r.Images[i].Lesion = 0
				}
			}
		}},
	{"events[].interventions[] of a death", "their kinds; their Procedures are linked to a Condition, which a death is not",
		func(r *report.Report) {
			for i, e := range r.Events {
				for j := range e.Interventions {
					if e.Kind == report.EventDeath {
						r.Events[i].Interventions[j].At, r.Events[i].Interventions[j].With = report.Time{}, nil
					}
				}
			}
		}},
	{"order of images, follow-ups, referrals, sedation drugs, interventions of one event", "none: they are resources of their own", ordered},
	{"plan.text, plan.h_pylori of nothing or stated as unknown", "the narrative", func(r *report.Report) {
		if r.Plan != nil {
			r.Plan.Text = ""
			if !report.Known(r.Plan.HPylori) || r.Plan.HPylori == report.HPyloriNothing {
				r.Plan.HPylori = ""
			}
		}
	}},
	{"plan.antithrombotic_restart", "the planned restart of the drug where the list before the session has it; its text in the narrative", restarts},
	{"before.sedation.drugs[].route without a dose", "the narrative: R4 wants a dose in every dosage (mad-1)", func(r *report.Report) {
		if r.Before == nil || r.Before.Sedation == nil {
			return
		}
		for i, d := range r.Before.Sedation.Drugs {
			d.DoseMg, d.DoseUg = known(d.DoseMg), known(d.DoseUg)
			if !d.DoseMg.Known() && !d.DoseUg.Known() {
				d.Route = ""
			}
			r.Before.Sedation.Drugs[i] = d
		}
	}},
	{"vessels[].count left out, bleeding_occurred left out beside spells", "1 and yes, which is what the report means", eachResection(func(x *report.Resection) {
		for i, v := range x.Vessels {
			if !v.Count.Reported() {
				x.Vessels[i].Count = report.Int(1)
			}
		}
		if x.BleedingOccurred == "" && len(x.Bleeding) > 0 {
			x.BleedingOccurred = report.Yes
		}
	})},
	{"depth_from without a depth, budding_field_mm2 without a count", "nothing: they mean nothing alone", eachLesion(func(_ *report.Report, l *report.Lesion) {
		if h := l.Histology; h != nil {
			if !h.DepthUm.Reported() {
				h.DepthFrom = ""
			}
			if !h.BuddingCount.Reported() {
				h.BuddingFieldMm2 = report.Number{}
			}
		}
	})},
	{"histology.accession", "the laboratory's number on the specimen, where the report's containers have theirs", eachLesion(func(_ *report.Report, l *report.Lesion) {
		if l.Histology != nil {
			l.Histology.Accession = nil
		}
	})},
	{"specimen.text and the content of an only container", "notes of one Specimen, in this order; the number of pieces in it when known", eachLesion(func(_ *report.Report, l *report.Lesion) {
		s := l.Specimen
		if s == nil {
			return
		}
		if len(s.Containers) == 1 && s.Text == "" {
			s.Text, s.Containers[0].Content = s.Containers[0].Content, ""
		}
		for i := range s.Containers {
			s.Containers[i].Pieces = known(s.Containers[i].Pieces)
		}
	})},
	{"empty objects", "nothing", empties},
}

// known drops a stated absence.
func known(n report.Number) report.Number {
	if n.Known() {
		return n
	}
	return report.Number{}
}

func resected(r *report.Report, number int) bool {
	return slices.ContainsFunc(r.Lesions, func(l report.Lesion) bool { return l.Number == number && l.Resection != nil })
}

func eachLesion(reduce func(*report.Report, *report.Lesion)) func(*report.Report) {
	return func(r *report.Report) {
		for i := range r.Lesions {
			reduce(r, &r.Lesions[i])
		}
	}
}

func eachResection(reduce func(*report.Resection)) func(*report.Report) {
	return eachLesion(func(_ *report.Report, l *report.Lesion) {
		if l.Resection != nil {
			reduce(l.Resection)
		}
	})
}

// ordered sorts what has no order in a record, by what it says.
func ordered(r *report.Report) {
	slices.SortFunc(r.Lesions, func(a, b report.Lesion) int { return cmp.Compare(a.Number, b.Number) })
	slices.SortFunc(r.Images, bySaying)
	r.Images = slices.CompactFunc(r.Images, func(a, b report.Image) bool { return a.URL == b.URL })
	slices.SortFunc(r.Events, bySaying)
	for i := range r.Events {
		slices.SortFunc(r.Events[i].Interventions, bySaying)
	}
	if r.Plan != nil {
		slices.SortFunc(r.Plan.FollowUps, bySaying)
		slices.SortFunc(r.Plan.Referrals, bySaying)
	}
	if r.Before != nil && r.Before.Sedation != nil {
		slices.SortFunc(r.Before.Sedation.Drugs, bySaying)
	}
}

func bySaying[T any](a, b T) int { return strings.Compare(saying(a), saying(b)) }

func saying(v any) string {
	raw, _ := json.Marshal(v) // parts of a report always encode
	return string(raw)
}

// restarts moves what the plan says of a drug to the drug.
func restarts(r *report.Report) {
	if r.Plan == nil {
		return
	}
	if r.Before != nil {
		for i, a := range r.Before.Antithrombotics {
			for _, p := range r.Plan.AntithromboticPlan {
				if a.PlannedRestart == "" && p.Class == a.Class {
					r.Before.Antithrombotics[i].PlannedRestart = p.On
					break
				}
			}
		}
	}
	r.Plan.AntithromboticPlan = nil
}

// empties drops objects in which nothing is left.
func empties(r *report.Report) {
	if r.Before != nil {
		if s := r.Before.Sedation; s != nil && saying(s) == "{}" {
			r.Before.Sedation = nil
		}
		if b := r.Before.Boston; b != nil && saying(b) == "{}" {
			r.Before.Boston = nil
		}
		if saying(r.Before) == "{}" {
			r.Before = nil
		}
	}
	if r.Plan != nil && saying(r.Plan) == "{}" {
		r.Plan = nil
	}
	for i := range r.Lesions {
		l := &r.Lesions[i]
		if l.Specimen != nil && saying(l.Specimen) == "{}" {
			l.Specimen = nil
		}
		if x := l.Resection; x != nil {
			if x.Incision != nil && saying(x.Incision) == "{}" {
				x.Incision = nil
			}
		}
	}
}
