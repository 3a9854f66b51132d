package report

import (
	"cmp"
	"slices"
	"strconv"
)

// Merge joins later parts to a report and returns the whole case. It changes
// none of its arguments.
//
// The result depends on which parts there are, never on the order in which
// they came: of each part the highest revision counts; of several findings on
// one lesion the one issued last; of several versions of one event the one
// recorded last, and at equal times the part before the report. A withdrawn
// part says nothing. What a part says about a lesion that the report does not
// have is returned as a finding and joins nothing.
func Merge(rep Report, histology []HistologyPart, events []EventsPart) (Report, []Finding) {
	var findings []Finding
	rep.Lesions = slices.Clone(rep.Lesions)
	for _, part := range standing(histology, func(p HistologyPart) Part { return p.Part }) {
		findings = append(findings, rep.joinHistology(part)...)
	}
	rep.Events = slices.Clone(rep.Events)
	for _, part := range standing(events, func(p EventsPart) Part { return p.Part }) {
		for _, e := range part.Events {
			rep.joinEvent(e)
		}
	}
	slices.SortStableFunc(rep.Events, func(a, b Event) int {
		return cmp.Or(a.When().At().Compare(b.When().At()), cmp.Compare(a.ID, b.ID))
	})
	return rep, findings
}

// MergeEach merges each of several revisions of a report with the same parts.
func MergeEach(revisions []Report, histology []HistologyPart, events []EventsPart) []Report {
	out := make([]Report, len(revisions))
	for i, rep := range revisions {
		out[i], _ = Merge(rep, histology, events)
	}
	return out
}

// standing returns the highest revision of each part that is not withdrawn, in
// an order that does not depend on the order of arrival.
func standing[P any](parts []P, envelope func(P) Part) []P {
	latest := map[Identifier]P{}
	for _, p := range parts {
		e := envelope(p)
		if had, ok := latest[e.PartID]; !ok || envelope(had).Revision < e.Revision {
			latest[e.PartID] = p
		}
	}
	out := make([]P, 0, len(latest))
	for _, p := range latest {
		if !envelope(p).Withdrawn {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b P) int {
		x, y := envelope(a), envelope(b)
		return cmp.Or(x.RecordedAt.At().Compare(y.RecordedAt.At()),
			cmp.Compare(x.PartID.System, y.PartID.System), cmp.Compare(x.PartID.Value, y.PartID.Value))
	})
	return out
}

// joinHistology puts each result of the part on its lesion.
func (r *Report) joinHistology(part HistologyPart) []Finding {
	var findings []Finding
	for i, result := range part.Results {
		at := r.LesionOf(result)
		if at < 0 {
			findings = append(findings, Finding{
				ID: "part.no-lesion", Severity: Error, Pointer: "/results/" + strconv.Itoa(i),
				Text:   "The result names no lesion of the case.",
				Mend:   "Give the lesion's number in the report, or the accession of one of its containers.",
				Source: "document format enbloc.histology/1",
			})
			continue
		}
		lesion := &r.Lesions[at]
		h := result.Histology
		if h.Accession == nil {
			h.Accession = result.Accession
		}
		if h.Accession == nil && len(part.Results) == 1 {
			// With several results the part's number names one of them only.
			h.Accession = part.Match.Accession
		}
		if lesion.Histology != nil && h.IssuedAt.At().Before(lesion.Histology.IssuedAt.At()) {
			continue
		}
		lesion.Histology = &h
		lesion.takeAccession(h.Accession)
	}
	return findings
}

// LesionOf returns the index of the lesion that a result of histology is
// about, or -1: by number, else by accession, else the only lesion that has a
// resection.
func (r *Report) LesionOf(result LesionHistology) int {
	if result.Lesion != 0 {
		return slices.IndexFunc(r.Lesions, func(l Lesion) bool { return l.Number == result.Lesion })
	}
	if result.Accession != nil {
		if at := slices.IndexFunc(r.Lesions, func(l Lesion) bool { return l.hasAccession(*result.Accession) }); at >= 0 {
			return at
		}
	}
	at := -1
	for i, l := range r.Lesions {
		if l.Resection == nil {
			continue
		}
		if at >= 0 {
			return -1
		}
		at = i
	}
	return at
}

func (l Lesion) hasAccession(id Identifier) bool {
	return l.Specimen != nil && slices.ContainsFunc(l.Specimen.Containers, func(c Container) bool {
		return c.Accession != nil && *c.Accession == id
	})
}

// takeAccession gives the laboratory's number to the specimen's only container
// when the report did not know it yet.
func (l *Lesion) takeAccession(id *Identifier) {
	if id == nil || l.Specimen == nil || len(l.Specimen.Containers) != 1 || l.Specimen.Containers[0].Accession != nil {
		return
	}
	specimen := *l.Specimen
	specimen.Containers = slices.Clone(specimen.Containers)
	specimen.Containers[0].Accession = id
	l.Specimen = &specimen
}

// joinEvent adds the event or replaces an earlier version of it.
func (r *Report) joinEvent(e Event) {
	at := slices.IndexFunc(r.Events, func(had Event) bool { return had.ID == e.ID })
	if at < 0 {
		r.Events = append(r.Events, e)
		return
	}
	if !e.RecordedAt.At().Before(r.Events[at].RecordedAt.At()) {
		r.Events[at] = e
	}
}

// When is the best time known of an event: when it happened, else when it was
// recognised, else when it was recorded.
func (e Event) When() Time {
	for _, t := range []Time{e.OccurredAt, e.RecognisedAt} {
		if !t.IsZero() {
			return t
		}
	}
	return e.RecordedAt
}

// Accessions lists every laboratory number in the report, by which a
// histology part may find it.
func (r Report) Accessions() []Identifier {
	var out []Identifier
	add := func(id *Identifier) {
		if id != nil && !slices.Contains(out, *id) {
			out = append(out, *id)
		}
	}
	for _, l := range r.Lesions {
		if l.Specimen != nil {
			for _, c := range l.Specimen.Containers {
				add(c.Accession)
			}
		}
		if l.Histology != nil {
			add(l.Histology.Accession)
		}
	}
	return out
}
