package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// imageRole stands for a picture, by its address.
func (m *mapper) imageRole(i report.Image) string { return "image/" + m.ids.opaque("image", i.URL) }

// images maps each picture as Media: a DiagnosticReport can show nothing else.
// The picture itself stays where it is.
func (m *mapper) images() {
	done := map[string]bool{}
	for _, i := range m.rep.Images {
		role := m.imageRole(i)
		if done[role] {
			continue // the same picture listed twice
		}
		done[role] = true
		kind, view := m.standard("hl7.media-type.image", ""), m.own("view", string(i.View))
		r := &model.Media{
			BasedOn: m.order, PartOf: model.Refs(m.ref(roleSession)), Type: &kind, View: &view, Subject: &m.subject,
			Encounter: m.encounter, CreatedDateTime: model.Str(i.TakenAt.Text()), Operator: m.endoscopist,
			Content: model.Attachment{ContentType: model.Str(clean(i.ContentType)), Url: model.Str(clean(i.URL)),
				Title: model.Str(imageTitle(i))},
		}
		if i.View != report.ViewPinnedSpecimen {
			endoscopy := m.standard("dcm.modality.es", "")
			r.Modality = &endoscopy
		}
		if at := m.lesionNumbered(i.Lesion); i.Lesion != 0 && at >= 0 {
			l := m.rep.Lesions[at]
			place := m.place(l)
			r.PartOf, r.BodySite = model.Refs(m.performedIn(l)), &place
		}
		m.emit(partReport, role, r, model.Status(completed), nil)
	}
}

func imageTitle(i report.Image) string {
	if t := clean(i.Title); t != "" {
		return t
	}
	if i.Lesion != 0 {
		return label("view", i.View) + ", lesion " + strconv.Itoa(i.Lesion)
	}
	return label("view", i.View)
}
