package report

// Histology is the pathologist's finding on one lesion, as far as it is
// needed here. The laboratory's own report stays the original; this is the
// summary of it.
type Histology struct {
	LabReport   *Identifier     `json:"lab_report,omitempty"` // identity of the laboratory's report
	Status      HistologyStatus `json:"status"`
	IssuedAt    Time            `json:"issued_at"`
	Pathologist *Identifier     `json:"pathologist,omitempty"`
	Accession   *Identifier     `json:"accession,omitempty"`

	// Types in order of amount, the dominant one first.
	Types            []HistologyType   `json:"types,omitempty"`
	Undifferentiated *Undifferentiated `json:"undifferentiated_component,omitempty"`
	// Grade is that of the dominant part, WorstGrade that of the least
	// differentiated part.
	Grade      Grade     `json:"grade,omitempty"`
	WorstGrade Grade     `json:"worst_grade,omitempty"`
	Dysplasia  Dysplasia `json:"dysplasia,omitempty"`

	PT PT `json:"pt,omitempty"`
	// DepthUm is the depth of submucosal invasion in µm, from the lower edge
	// of the muscularis mucosae unless DepthFrom says otherwise.
	DepthUm   Number    `json:"depth_um,omitzero"`
	DepthFrom DepthFrom `json:"depth_from,omitempty"`

	HorizontalMargin     Sign   `json:"horizontal_margin,omitempty"`
	HorizontalDistanceMm Number `json:"horizontal_distance_mm,omitzero"`
	VerticalMargin       Sign   `json:"vertical_margin,omitempty"`
	VerticalDistanceUm   Number `json:"vertical_distance_um,omitzero"`

	// Lymphatic and venous invasion apart. Lymphovascular is for a laboratory
	// that does not tell them apart.
	LymphaticInvasion Sign `json:"lymphatic_invasion,omitempty"`
	VenousInvasion    Sign `json:"venous_invasion,omitempty"`
	Lymphovascular    Sign `json:"lymphovascular_invasion,omitempty"`

	Budding Budding `json:"budding,omitempty"`
	// BuddingCount is the number of buds in BuddingFieldMm2 (0.785 mm² by
	// convention: Lugli, Mod Pathol 2017;30:1299).
	BuddingCount    Number `json:"budding_count,omitzero"`
	BuddingFieldMm2 Number `json:"budding_field_mm2,omitzero"`

	// Ulceration under the microscope.
	Ulcer Ulceration `json:"ulceration,omitempty"`
	// Size of the tumour on the reconstruction map.
	TumourLongMm  Number `json:"tumour_long_mm,omitzero"`
	TumourShortMm Number `json:"tumour_short_mm,omitzero"`
	Text          string `json:"text,omitempty"`
}

// HistologyStatus is the state of the laboratory's report.
type HistologyStatus string

// States of the laboratory's report.
const (
	HistologyPreliminary HistologyStatus = "preliminary"
	HistologyFinal       HistologyStatus = "final"
	HistologyAmended     HistologyStatus = "amended"
	HistologyCorrected   HistologyStatus = "corrected"
)

// HistologyType is a histological type, written as pathologists do.
type HistologyType string

// Types. The Japanese short forms belong to the stomach.
const (
	TypePap              HistologyType = "pap"  // papillary adenocarcinoma
	TypeTub1             HistologyType = "tub1" // tubular adenocarcinoma, well differentiated
	TypeTub2             HistologyType = "tub2" // tubular adenocarcinoma, moderately differentiated
	TypePor1             HistologyType = "por1" // poorly differentiated, solid
	TypePor2             HistologyType = "por2" // poorly differentiated, non-solid
	TypeSig              HistologyType = "sig"  // signet-ring cell carcinoma
	TypeMuc              HistologyType = "muc"  // mucinous adenocarcinoma
	TypeAdenocarcinoma   HistologyType = "adenocarcinoma"
	TypeSCC              HistologyType = "squamous-cell-carcinoma"
	TypeSquamousIEN      HistologyType = "squamous-intraepithelial-neoplasia"
	TypeDysplasia        HistologyType = "glandular-dysplasia"
	TypeAdenoma          HistologyType = "adenoma"
	TypeTubularAdenoma   HistologyType = "tubular-adenoma"
	TypeTubulovillous    HistologyType = "tubulovillous-adenoma"
	TypeVillousAdenoma   HistologyType = "villous-adenoma"
	TypeSSL              HistologyType = "sessile-serrated-lesion"
	TypeSSLDysplasia     HistologyType = "sessile-serrated-lesion-with-dysplasia"
	TypeTSA              HistologyType = "traditional-serrated-adenoma"
	TypeHyperplastic     HistologyType = "hyperplastic-polyp"
	TypeNET              HistologyType = "neuroendocrine-tumour"
	TypeNEC              HistologyType = "neuroendocrine-carcinoma"
	TypeUndifferentiated HistologyType = "undifferentiated-carcinoma"
	TypeMedullary        HistologyType = "medullary-carcinoma"
	TypeNoNeoplasia      HistologyType = "no-neoplasia"
)

// Undifferentiated is the undifferentiated part of a gastric cancer.
type Undifferentiated struct {
	Present Answer `json:"present"`
	// SizeMm is the long diameter on the map, several areas added.
	SizeMm Number `json:"size_mm,omitzero"`
	// InSubmucosa: part of it lies in the submucosal invasion.
	InSubmucosa Answer `json:"in_submucosa,omitempty"`
}

// Grade is a histological grade; it may also be a kind of absence.
type Grade string

// Grades.
const (
	GradeWell             Grade = "well-differentiated"
	GradeModerate         Grade = "moderately-differentiated"
	GradePoor             Grade = "poorly-differentiated"
	GradeUndifferentiated Grade = "undifferentiated"
	GradeCannot           Grade = "cannot-be-assessed"
)

// Dysplasia is the grade of intraepithelial neoplasia; it may also be a kind
// of absence.
type Dysplasia string

// Grades of dysplasia.
const (
	DysplasiaNone Dysplasia = "none"
	DysplasiaLow  Dysplasia = "low-grade"
	DysplasiaHigh Dysplasia = "high-grade"
)

// PT is the depth category; it may also be a kind of absence. EP, LPM, MM and
// SM1 to SM3 are the steps of the squamous oesophagus; SM1 and SM2 are also
// used in the stomach.
type PT string

// Depth categories.
const (
	PTX      PT = "pTX"
	PT0      PT = "pT0"
	PTis     PT = "pTis"
	PT1a     PT = "pT1a"
	PT1aEP   PT = "pT1a-EP"
	PT1aLPM  PT = "pT1a-LPM"
	PT1aMM   PT = "pT1a-MM"
	PT1b     PT = "pT1b"
	PT1bSM1  PT = "pT1b-SM1"
	PT1bSM2  PT = "pT1b-SM2"
	PT1bSM3  PT = "pT1b-SM3"
	PT1      PT = "pT1" // colorectum: submucosa
	PT2      PT = "pT2"
	PTDeeper PT = "pT3-or-deeper"
)

// Submucosal reports whether the category is invasion into the submucosa.
func (p PT) Submucosal() bool {
	switch p {
	case PT1b, PT1bSM1, PT1bSM2, PT1bSM3, PT1:
		return true
	}
	return false
}

// Intramucosal reports whether the category stays within the mucosa.
func (p PT) Intramucosal() bool {
	switch p {
	case PTis, PT1a, PT1aEP, PT1aLPM, PT1aMM, PT0:
		return true
	}
	return false
}

// DepthFrom is the line that the depth was measured from; it may also be a
// kind of absence.
type DepthFrom string

// Base lines.
const (
	FromMuscularisMucosae DepthFrom = "muscularis-mucosae"
	FromSurface           DepthFrom = "lesion-surface"
	FromStalkBoundary     DepthFrom = "head-stalk-boundary"
)

// Budding is the tumour budding grade (Lugli, Mod Pathol 2017;30:1299); it may
// also be a kind of absence.
type Budding string

// Grades of budding.
const (
	BD1          Budding = "BD1"
	BD2          Budding = "BD2"
	BD3          Budding = "BD3"
	BuddingNoFit Budding = "cannot-be-assessed"
)
