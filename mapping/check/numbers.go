package check

import (
	"fmt"

	"enbloc/mapping/report"
)

func lesionNumberTwice(r *report.Report, say say) {
	seen := map[int]bool{}
	for i, l := range r.Lesions {
		if seen[l.Number] {
			say(at("/lesions", i)+"/number", fmt.Sprintf("Two lesions have the number %d.", l.Number), "Give each lesion its own number and keep it over all revisions.")
		}
		seen[l.Number] = true
	}
}

func unknownReference(r *report.Report, say say) {
	known := map[int]bool{0: true} // 0: no lesion is named
	for _, l := range r.Lesions {
		known[l.Number] = true
	}
	refers := func(list string, i, lesion int) {
		if !known[lesion] {
			say(at(list, i)+"/lesion", fmt.Sprintf("The report has no lesion number %d.", lesion), "Name a lesion of this report, or leave the field out.")
		}
	}
	for i, e := range beforeOf(r).Earlier {
		refers("/before/earlier", i, e.Lesion)
	}
	for i, m := range r.Images {
		refers("/images", i, m.Lesion)
	}
	for i, e := range r.Events {
		refers("/events", i, e.Lesion)
	}
	for i, f := range planOf(r).FollowUps {
		refers("/plan/follow_ups", i, f.Lesion)
	}
	for i, f := range planOf(r).Referrals {
		refers("/plan/referrals", i, f.Lesion)
	}
}

func severalThoughSingle(l *report.Lesion, r *report.Report, say say) {
	if l.Examination.Multiple != report.No {
		return
	}
	sameOrgan := 0
	for _, other := range r.Lesions {
		if other.Examination.Organ == l.Examination.Organ {
			sameOrgan++
		}
	}
	if sameOrgan > 1 {
		say("/examination/multiple_tumours", fmt.Sprintf("The lesion is called the only one, but the report has %d in the same organ.", sameOrgan),
			"Answer yes when another of them is a tumour; a score counts it.")
	}
}
