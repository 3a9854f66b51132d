package check

import (
	"slices"

	"enbloc/mapping/report"
)

func specimenBeforeSession(l *report.Lesion, r *report.Report, say say) {
	s := specimenOf(l)
	times := []moment{{"/specimen/pinned_at", s.PinnedAt}, {"/specimen/fixed_at", s.FixedAt}}
	for i, c := range s.Containers {
		times = append(times, moment{at("/specimen/containers", i) + "/received_at", c.ReceivedAt})
	}
	for _, m := range times {
		if earlier(m.when, r.Session.Start) {
			say(m.pointer, "The specimen was handled before the session began.", "Check the date, the time and the zone.")
		}
	}
}

func fixedBeforePinned(l *report.Lesion, _ *report.Report, say say) {
	if s := specimenOf(l); earlier(s.FixedAt, s.PinnedAt) {
		say("/specimen/fixed_at", "The specimen was put in the fixative before it was pinned; once fixed it cannot be stretched.", "Check both times.")
	}
}

func notPinned(l *report.Lesion, _ *report.Report, say say) {
	if resectionOf(l).Technique.Dissects() && specimenOf(l).Pinned == report.No {
		say("/specimen/pinned", "The dissected specimen was not stretched and pinned; margins and depth are harder to read.", "Nothing to correct if it was so; tell the pathologist.")
	}
}

func lostThoughMeasured(l *report.Lesion, _ *report.Report, say say) {
	if s := specimenOf(l); s.Retrieved == report.No && (s.SizeLongMm.Known() || l.Histology != nil) {
		say("/specimen/retrieved", "The specimen was not retrieved, and yet it has a size or a histology.", "Check both.")
	}
}

func containerTwice(r *report.Report, say say) {
	seen := map[report.Identifier]bool{}
	for i := range r.Lesions {
		for k, c := range specimenOf(&r.Lesions[i]).Containers {
			if c.Identifier == nil {
				continue
			}
			if seen[*c.Identifier] {
				say(at(at("/lesions", i)+"/specimen/containers", k)+"/identifier", "Two containers have the same number.", "Give each container its own number.")
			}
			seen[*c.Identifier] = true
		}
	}
}

func accessionOfTwoLesions(r *report.Report, say say) {
	owner := map[report.Identifier]int{}
	for i := range r.Lesions {
		for k, c := range specimenOf(&r.Lesions[i]).Containers {
			if c.Accession == nil {
				continue
			}
			if first, taken := owner[*c.Accession]; taken && first != i {
				say(at(at("/lesions", i)+"/specimen/containers", k)+"/accession", "Two lesions share an accession number, so later histology must name the lesion.", "Give each lesion's specimen its own accession number, or have the laboratory name the lesion.")
				continue
			}
			owner[*c.Accession] = i
		}
	}
}

func histologyBeforeSession(l *report.Lesion, r *report.Report, say say) {
	if h := histologyOf(l); earlier(h.IssuedAt, r.Session.Start) {
		say("/histology/issued_at", "The histology was issued before the session; it may be that of a biopsy or of another case.", "Check the date, and whether it belongs to this resection.")
	}
}

func foreignAccession(l *report.Lesion, _ *report.Report, say say) {
	h := histologyOf(l)
	if h.Accession == nil {
		return
	}
	same := func(c report.Container) bool { return *c.Accession == *h.Accession }
	var numbered []report.Container
	for _, c := range specimenOf(l).Containers {
		if c.Accession != nil {
			numbered = append(numbered, c)
		}
	}
	if len(numbered) > 0 && !slices.ContainsFunc(numbered, same) {
		say("/histology/accession", "The histology's accession number is on none of the lesion's containers.", "Check whether it belongs to this lesion.")
	}
}
