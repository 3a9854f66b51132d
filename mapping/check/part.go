package check

import "enbloc/mapping/report"

func partWithdrawnWithoutReason(p *report.Part, say say) {
	if p.Withdrawn && p.Reason == "" {
		say("/reason", "The part is withdrawn without a reason; those who acted on it must learn why.", "Say why, for example: report of another patient.")
	}
}

func noResults(p *report.HistologyPart, say say) {
	if !p.Withdrawn && len(p.Results) == 0 {
		say("/results", "The part brings no result.", "Add the results, or withdraw the part.")
	}
}

func resultTwice(p *report.HistologyPart, say say) {
	lesions, accessions := map[int]bool{}, map[report.Identifier]bool{}
	for i, res := range p.Results {
		switch {
		case res.Lesion != 0:
			if lesions[res.Lesion] {
				say(at("/results", i)+"/lesion", "Two results name the same lesion.", "Send one result for each lesion.")
			}
			lesions[res.Lesion] = true
		case res.Accession != nil:
			if accessions[*res.Accession] {
				say(at("/results", i)+"/accession", "Two results name the same accession number and no lesion.", "Name the lesions by their number.")
			}
			accessions[*res.Accession] = true
		}
	}
}

func resultUnnamed(p *report.HistologyPart, say say) {
	if len(p.Results) < 2 {
		return
	}
	for i, res := range p.Results {
		if res.Lesion == 0 && res.Accession == nil {
			say(at("/results", i), "The part has several results, and this one names neither lesion nor accession number.", "Name the lesion by its number or its accession number.")
		}
	}
}

func noEvents(p *report.EventsPart, say say) {
	if !p.Withdrawn && len(p.Events) == 0 {
		say("/events", "The part brings no event.", "Add the events, or withdraw the part.")
	}
}

func partEventIDTwice(p *report.EventsPart, say say) { idTwice(p.Events, say) }
