package fhir

import (
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// class is a class of diagnosis, the code of our concept.
type class string

const (
	classCarcinoma    class = "condition-suspected-carcinoma"
	classLesion       class = "condition-neoplastic-lesion"
	classIntraepith   class = "condition-intraepithelial"
	classAdenoma      class = "condition-adenoma"
	classSerrated     class = "condition-serrated"
	classHyperplastic class = "condition-hyperplastic"
	classNeuroendo    class = "condition-neuroendocrine"
)

// classes says which diagnosis a dominant histological type makes.
var classes = map[report.HistologyType]class{
	report.TypePap: classCarcinoma, report.TypeTub1: classCarcinoma, report.TypeTub2: classCarcinoma,
	report.TypePor1: classCarcinoma, report.TypePor2: classCarcinoma, report.TypeSig: classCarcinoma,
	report.TypeMuc: classCarcinoma, report.TypeAdenocarcinoma: classCarcinoma, report.TypeSCC: classCarcinoma,
	report.TypeUndifferentiated: classCarcinoma, report.TypeMedullary: classCarcinoma,
	report.TypeSquamousIEN: classIntraepith, report.TypeDysplasia: classIntraepith,
	report.TypeAdenoma: classAdenoma, report.TypeTubularAdenoma: classAdenoma,
	report.TypeTubulovillous: classAdenoma, report.TypeVillousAdenoma: classAdenoma,
	report.TypeSSL: classSerrated, report.TypeSSLDysplasia: classSerrated, report.TypeTSA: classSerrated,
	report.TypeHyperplastic: classHyperplastic,
	report.TypeNET:          classNeuroendo, report.TypeNEC: classNeuroendo,
}

// classOf is the diagnosis of a lesion: what histology says, else what the
// endoscopist suspects. No neoplasia leaves the diagnosis that is refuted.
func classOf(l report.Lesion) class {
	if h := l.Histology; h != nil && len(h.Types) > 0 {
		if c, ok := classes[h.Types[0]]; ok {
			return c
		}
	}
	if l.Examination.SuspectMalignant == report.Yes {
		return classCarcinoma
	}
	return classLesion
}

// diagnosis is our concept for a class of diagnosis, and the standard codes
// that are truly broader for the organ.
func (m *mapper) diagnosis(l report.Lesion, c class) model.CodeableConcept {
	concept := m.own("condition", string(c))
	e := l.Examination
	for _, key := range standardDiagnoses[c][e.Organ] {
		concept = m.with(concept, key)
	}
	if c == classCarcinoma && invasive(l) {
		if key, ok := carcinomaICD[e.Site]; ok {
			concept = m.with(concept, key)
		} else if key, ok := carcinomaICDOrgan[e.Organ]; ok && !report.Known(e.Site) {
			concept = m.with(concept, key)
		}
	}
	return concept
}

// invasive says that ICD-10 codes of invasive cancer are not ruled out: whether
// an intraepithelial lesion is coded in situ or as an adenoma is a coding rule
// of the country, which is not ours to decide.
func invasive(l report.Lesion) bool {
	if l.Histology == nil {
		return true
	}
	switch l.Histology.PT {
	case report.PTis, report.PT1aEP, report.PT0:
		return false
	}
	return true
}

// standardDiagnoses are SNOMED CT disorders that include the diagnosis.
var standardDiagnoses = map[class]map[report.Organ][]string{
	classCarcinoma: {report.Oesophagus: {"cond.mal.oesophagus"}, report.Stomach: {"cond.mal.stomach"},
		report.Duodenum: {"cond.mal.duodenum"}, report.Colon: {"cond.mal.colon"}, report.Rectum: {"cond.mal.rectum"}},
	classLesion: {report.Stomach: {"cond.neoplasm.stomach"}, report.Colon: {"cond.neoplasm.colon"},
		report.Rectum: {"cond.neoplasm.rectum"}},
	classAdenoma: {report.Oesophagus: {"cond.benign.oesophagus"}, report.Stomach: {"cond.benign.stomach"},
		report.Duodenum: {"cond.benign.duodenum"}, report.Colon: {"cond.benign.colon"}, report.Rectum: {"cond.adenoma.rectum"}},
	classNeuroendo: {report.Stomach: {"cond.neoplasm.stomach"}, report.Colon: {"cond.neoplasm.colon"},
		report.Rectum: {"cond.neoplasm.rectum"}},
}

// carcinomaICD are the ICD-10 codes of cancer by site. C16.0 includes the
// gastro-oesophageal junction, C16.4 the prepylorus and C18.0 the ileocaecal
// valve (notes of ICD-10, chapter II).
var carcinomaICD = map[report.Site]string{
	report.SiteCervical: "icd10.C15.0", report.SiteThoracic: "icd10.C15.1", report.SiteAbdominal: "icd10.C15.2",
	report.SiteJunction: "icd10.C16.0", report.SiteCardia: "icd10.C16.0", report.SiteFundus: "icd10.C16.1",
	report.SiteBody: "icd10.C16.2", report.SiteAntrum: "icd10.C16.3", report.SitePrepylorus: "icd10.C16.4",
	report.SitePylorus: "icd10.C16.4", report.SiteBulb: "icd10.C17.0", report.SiteSecondPart: "icd10.C17.0",
	report.SiteThirdPart: "icd10.C17.0", report.SiteFourthPart: "icd10.C17.0", report.SiteCaecum: "icd10.C18.0",
	report.SiteIleocaecal: "icd10.C18.0", report.SiteAscending: "icd10.C18.2", report.SiteHepaticFlexure: "icd10.C18.3",
	report.SiteTransverse: "icd10.C18.4", report.SiteSplenicFlexure: "icd10.C18.5", report.SiteDescending: "icd10.C18.6",
	report.SiteSigmoid: "icd10.C18.7", report.SiteRectosigmoid: "icd10.C19",
	report.SiteUpperRectum: "icd10.C20", report.SiteLowerRectum: "icd10.C20",
}

// carcinomaICDOrgan is for a lesion whose site is not known.
var carcinomaICDOrgan = map[report.Organ]string{report.Oesophagus: "icd10.C15.9", report.Stomach: "icd10.C16.9",
	report.Duodenum: "icd10.C17.0", report.Colon: "icd10.C18.9", report.Rectum: "icd10.C20"}
