package report

// Lesion is one lesion of the session: as seen, as removed, as a specimen and
// under the microscope. A lesion that was seen and left has no resection.
type Lesion struct {
	// Number names the lesion within the report, from 1. It never changes:
	// parts that arrive later refer to it.
	Number      int         `json:"number"`
	Examination Examination `json:"examination"`
	Resection   *Resection  `json:"resection,omitempty"`
	Specimen    *Specimen   `json:"specimen,omitempty"`
	Histology   *Histology  `json:"histology,omitempty"`
	Comment     string      `json:"comment,omitempty"`
}

// Examination is the lesion as the endoscopist assessed it before removal.
// Sizes are endoscopic estimates and never overwritten by the pathologist's.
type Examination struct {
	Organ  Organ  `json:"organ"`
	Site   Site   `json:"site,omitempty"`
	Third  Third  `json:"third,omitempty"` // upper, middle or lower third of stomach or oesophagus
	Wall   Wall   `json:"wall,omitempty"`
	Mucosa Mucosa `json:"mucosa,omitempty"` // in the oesophagus: squamous or Barrett

	DistanceIncisorsCm  Number `json:"distance_incisors_cm,omitzero"`
	DistanceAnalVergeCm Number `json:"distance_anal_verge_cm,omitzero"`
	PragueCCm           Number `json:"prague_c_cm,omitzero"` // circumferential Barrett extent
	PragueMCm           Number `json:"prague_m_cm,omitzero"` // maximal Barrett extent

	SizeLongMm       Number `json:"size_long_mm,omitzero"`
	SizeShortMm      Number `json:"size_short_mm,omitzero"`
	HeightMm         Number `json:"height_mm,omitzero"`         // above the surrounding mucosa
	AxialLengthMm    Number `json:"axial_length_mm,omitzero"`   // along the organ's axis
	CircumferencePct Number `json:"circumference_pct,omitzero"` // share of the circumference the lesion takes, 0 to 100
	Circumferential  Answer `json:"circumferential,omitempty"`  // all the way round

	// Paris lists the Paris types, the dominant one first: 0-IIa+IIc is
	// ["0-IIa", "0-IIc"]. (Paris workshop, Gastrointest Endosc 2003;58(6 Suppl):S3.)
	Paris    []ParisType `json:"paris,omitempty"`
	Pedicle  Answer      `json:"pedicle,omitempty"`
	LST      LST         `json:"lst,omitempty"`
	Ulcer    Ulceration  `json:"ulceration,omitempty"`
	Access   Access      `json:"access,omitempty"` // how well the endoscope reached it
	Papilla  Answer      `json:"involves_papilla,omitempty"`
	Multiple Answer      `json:"multiple_tumours,omitempty"` // more tumours than this one in the organ, resected in the session or not

	NICE        NICE        `json:"nice,omitempty"`
	JNET        JNET        `json:"jnet,omitempty"`
	JNETVessel  JNETVessel  `json:"jnet_vessel,omitempty"`
	JNETSurface JNETSurface `json:"jnet_surface,omitempty"`
	Kudo        []Kudo      `json:"kudo,omitempty"`
	MicroVessel Pattern     `json:"microvascular_pattern,omitempty"`
	MicroSurf   Pattern     `json:"microsurface_pattern,omitempty"`
	WhiteOpaque Answer      `json:"white_opaque_substance,omitempty"`
	Demarcation Answer      `json:"demarcation_line,omitempty"`

	// NonExtension is the non-extension sign on full insufflation.
	// (Nagahama, Gastric Cancer 2017;20:304.)
	NonExtension       Sign   `json:"non_extension_sign,omitempty"`
	FullInsufflation   Answer `json:"full_insufflation,omitempty"`
	ConvergingFolds    Answer `json:"converging_folds,omitempty"`
	MuscleRidge        Answer `json:"muscle_ridge,omitempty"`
	RigidArc           Answer `json:"rigid_arc,omitempty"`
	TrapezoidElevation Answer `json:"trapezoid_elevation,omitempty"`
	NonLifting         Sign   `json:"non_lifting_sign,omitempty"`
	EUSDepth           Layer  `json:"eus_depth,omitempty"`

	// BiopsyTypes is the histology of earlier biopsies, in order of amount.
	BiopsyTypes []HistologyType `json:"biopsy_types,omitempty"`
	// PredictedHistology is what the endoscopist expects.
	PredictedHistology HistologyType  `json:"predicted_histology,omitempty"`
	PredictedDepth     PredictedDepth `json:"predicted_depth,omitempty"`
	PredictedSMUm      Number         `json:"predicted_sm_depth_um,omitzero"`
	ClinicalN          ClinicalN      `json:"clinical_n,omitempty"`
	SuspectMalignant   Answer         `json:"suspected_malignancy,omitempty"`

	PatientPosition Position `json:"patient_position,omitempty"`
	Gravity         Gravity  `json:"gravity,omitempty"` // where gravity pulls the flap
}

// Organ is the organ that holds a lesion.
type Organ string

// Organs. The gastro-oesophageal junction is a site of oesophagus or stomach.
const (
	Oesophagus Organ = "oesophagus"
	Stomach    Organ = "stomach"
	Duodenum   Organ = "duodenum"
	Colon      Organ = "colon"
	Rectum     Organ = "rectum"
)

// Colorectal reports whether the organ is colon or rectum.
func (o Organ) Colorectal() bool { return o == Colon || o == Rectum }

// Site is the part of the organ.
type Site string

// Sites, by organ.
const (
	SiteCervical  Site = "cervical-oesophagus"
	SiteThoracic  Site = "thoracic-oesophagus"
	SiteAbdominal Site = "abdominal-oesophagus"
	SiteJunction  Site = "gastro-oesophageal-junction"

	SiteCardia     Site = "cardia"
	SiteFundus     Site = "fundus"
	SiteBody       Site = "body"
	SiteAngle      Site = "angular-incisure"
	SiteAntrum     Site = "antrum"
	SitePrepylorus Site = "prepylorus"
	SitePylorus    Site = "pylorus"
	SiteRemnant    Site = "remnant-stomach"

	SiteBulb          Site = "duodenal-bulb"
	SiteSecondPart    Site = "second-part"
	SiteThirdPart     Site = "third-part"
	SiteFourthPart    Site = "fourth-part"
	SiteMajorPapilla  Site = "major-papilla"
	SiteTerminalIleum Site = "terminal-ileum"

	SiteCaecum         Site = "caecum"
	SiteIleocaecal     Site = "ileocaecal-valve"
	SiteAscending      Site = "ascending-colon"
	SiteHepaticFlexure Site = "hepatic-flexure"
	SiteTransverse     Site = "transverse-colon"
	SiteSplenicFlexure Site = "splenic-flexure"
	SiteDescending     Site = "descending-colon"
	SiteSigmoid        Site = "sigmoid-colon"
	SiteRectosigmoid   Site = "rectosigmoid-junction"
	SiteUpperRectum    Site = "upper-rectum"
	SiteLowerRectum    Site = "lower-rectum"
	SiteDentateLine    Site = "dentate-line"
)

// Third is a third of the stomach or oesophagus; it may also be a kind of
// absence.
type Third string

// Thirds.
const (
	UpperThird  Third = "upper"
	MiddleThird Third = "middle"
	LowerThird  Third = "lower"
)

// Wall is the side of the organ.
type Wall string

// Sides; in the stomach by curvature, elsewhere by direction.
const (
	WallAnterior        Wall = "anterior"
	WallPosterior       Wall = "posterior"
	WallLesser          Wall = "lesser-curvature"
	WallGreater         Wall = "greater-curvature"
	WallLeft            Wall = "left"
	WallRight           Wall = "right"
	WallMedial          Wall = "medial"
	WallLateral         Wall = "lateral"
	WallCircumferential Wall = "circumferential"
)

// Mucosa is the lining that an oesophageal lesion arises from; it may also be a
// kind of absence.
type Mucosa string

// Linings.
const (
	Squamous Mucosa = "squamous"
	Barrett  Mucosa = "barrett"
	Columnar Mucosa = "columnar"
)

// ParisType is one type of the Paris classification of superficial lesions.
type ParisType string

// Paris types.
const (
	Paris0Ip  ParisType = "0-Ip"
	Paris0Isp ParisType = "0-Isp"
	Paris0Is  ParisType = "0-Is"
	Paris0IIa ParisType = "0-IIa"
	Paris0IIb ParisType = "0-IIb"
	Paris0IIc ParisType = "0-IIc"
	Paris0III ParisType = "0-III"
)

// LST is the subtype of a lateral-spreading tumour (10 mm or more); it may
// also be a kind of absence.
type LST string

// Subtypes.
const (
	LSTGranularHomogeneous LST = "granular-homogeneous"
	LSTGranularMixed       LST = "granular-nodular-mixed"
	LSTFlatElevated        LST = "non-granular-flat-elevated"
	LSTPseudodepressed     LST = "non-granular-pseudodepressed"
)

// Ulceration is whether the lesion carries an ulcer or a scar; it may also be
// a kind of absence. A scar that may be of a biopsy or of an ulcer counts as
// an ulcer scar (JGCA classification, 6th ed.).
type Ulceration string

// Ulceration.
const (
	UlcerAbsent     Ulceration = "absent"
	UlcerActive     Ulceration = "ulcer"
	UlcerScar       Ulceration = "ulcer-scar"
	UlcerBiopsyScar Ulceration = "biopsy-scar"
	UlcerEither     Ulceration = "biopsy-or-ulcer-scar-indistinguishable"
)

// Access is how well the endoscope reached the lesion; it may also be a kind
// of absence.
type Access string

// Access.
const (
	AccessEasy      Access = "easy"
	AccessDifficult Access = "difficult"
)

// NICE is the narrow-band colorectal class without magnification, "1", "2" or
// "3"; it may also be a kind of absence.
type NICE string

// NICE classes.
const (
	NICE1 NICE = "1"
	NICE2 NICE = "2"
	NICE3 NICE = "3"
)

// JNET is the narrow-band colorectal class with magnification; it may also be
// a kind of absence.
type JNET string

// JNET classes.
const (
	JNET1  JNET = "1"
	JNET2A JNET = "2A"
	JNET2B JNET = "2B"
	JNET3  JNET = "3"
)

// JNETVessel is the vessel pattern that a JNET class rests on; it may also be
// a kind of absence.
type JNETVessel string

// JNET vessel patterns.
const (
	VesselInvisible JNETVessel = "invisible"
	VesselRegular   JNETVessel = "regular"
	VesselVariable  JNETVessel = "variable-calibre-irregular-distribution"
	VesselLoose     JNETVessel = "loose-areas-or-interrupted-thick-vessels"
)

// JNETSurface is the surface pattern that a JNET class rests on; it may also
// be a kind of absence.
type JNETSurface string

// JNET surface patterns.
const (
	SurfaceSpots     JNETSurface = "regular-spots"
	SurfaceRegular   JNETSurface = "regular-tubular-branched-papillary"
	SurfaceIrregular JNETSurface = "irregular-or-obscure"
	SurfaceAmorphous JNETSurface = "amorphous"
)

// Kudo is a pit pattern.
type Kudo string

// Pit patterns. VI is split by the degree of irregularity.
const (
	KudoI        Kudo = "I"
	KudoII       Kudo = "II"
	KudoIIIS     Kudo = "IIIS"
	KudoIIIL     Kudo = "IIIL"
	KudoIV       Kudo = "IV"
	KudoVIMild   Kudo = "VI-mild"
	KudoVISevere Kudo = "VI-severe"
	KudoVN       Kudo = "VN"
)

// Pattern grades a microvascular or microsurface pattern under magnification
// (vessel-plus-surface reading); it may also be a kind of absence.
type Pattern string

// Patterns.
const (
	PatternRegular   Pattern = "regular"
	PatternIrregular Pattern = "irregular"
	PatternAbsent    Pattern = "absent"
)

// Layer is the deepest layer a lesion reaches on endosonography; it may also
// be a kind of absence.
type Layer string

// Layers.
const (
	LayerMucosa     Layer = "mucosa"
	LayerSubmucosa  Layer = "submucosa"
	LayerMuscularis Layer = "muscularis-propria"
)

// PredictedDepth is the depth that the endoscopist expects; it may also be a
// kind of absence.
type PredictedDepth string

// Depths as predicted. EP-LPM and MM belong to the squamous oesophagus.
const (
	PredictT1a      PredictedDepth = "T1a"
	PredictT1aEPLPM PredictedDepth = "T1a-EP-LPM"
	PredictMMSM1    PredictedDepth = "T1a-MM-or-T1b-SM1"
	PredictT1b      PredictedDepth = "T1b"
	PredictT1bSM1   PredictedDepth = "T1b-SM1"
	PredictT1bSM2   PredictedDepth = "T1b-SM2"
	PredictT2       PredictedDepth = "T2-or-deeper"
)

// ClinicalN is the clinical nodal stage; it may also be a kind of absence.
type ClinicalN string

// Nodal stages.
const (
	ClinicalN0       ClinicalN = "N0"
	ClinicalNPresent ClinicalN = "N-positive"
)

// Position is how the patient lay; it may also be a kind of absence.
type Position string

// Positions.
const (
	LeftLateral  Position = "left-lateral"
	RightLateral Position = "right-lateral"
	Supine       Position = "supine"
	Prone        Position = "prone"
)

// Gravity is where gravity pulls the flap of mucosa being raised; it may also
// be a kind of absence.
type Gravity string

// Pulls.
const (
	GravityOpens   Gravity = "opens-the-flap"
	GravityCloses  Gravity = "closes-the-flap"
	GravityNeutral Gravity = "across-the-flap"
)
