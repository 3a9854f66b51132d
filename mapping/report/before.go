package report

// Before is what was known and prepared before the endoscope went in.
type Before struct {
	Indication      Intent `json:"indication,omitempty"`
	IndicationText  string `json:"indication_text,omitempty"`
	TechniqueReason string `json:"technique_reason,omitempty"`

	Earlier []Earlier `json:"earlier,omitempty"`

	// AntithromboticHistory says how far the list below can be trusted: only a
	// complete list, or none taken, makes a drug that is not listed "not taken".
	AntithromboticHistory AntithromboticHistory `json:"antithrombotic_history,omitempty"`
	Antithrombotics       []Antithrombotic      `json:"antithrombotics,omitempty"`
	// INR on the day, dimensionless.
	INR Number `json:"inr,omitzero"`
	// ThromboticRisk is the risk of stopping the drugs, as judged locally.
	ThromboticRisk RiskLevel `json:"thrombotic_risk,omitempty"`
	// Haemodialysis: chronic kidney disease on maintenance haemodialysis.
	Haemodialysis Answer `json:"haemodialysis,omitempty"`
	// ASAClass is the ASA physical status, "1" to "6".
	ASAClass ASAClass        `json:"asa_class,omitempty"`
	HPylori  HPyloriStatus   `json:"h_pylori,omitempty"`
	Implant  ImplantedDevice `json:"implanted_device,omitempty"`
	// ImplantPrecaution is what was done about an implanted device.
	ImplantPrecaution    ImplantPrecaution `json:"implant_precaution,omitempty"`
	NeutralElectrodeSite ElectrodeSite     `json:"neutral_electrode_site,omitempty"`

	Sedation *Sedation `json:"sedation,omitempty"`
	// FastingH is the time without solid food, in hours.
	FastingH Number  `json:"fasting_h,omitzero"`
	Boston   *Boston `json:"boston,omitempty"`
}

// Intent is why the lesion is to be removed.
type Intent string

// Intents.
const (
	IntentCurative   Intent = "curative"
	IntentDiagnostic Intent = "diagnostic-excision"
	IntentRecurrence Intent = "local-recurrence"
	IntentPalliative Intent = "palliative"
)

// Earlier is a biopsy or treatment of a lesion before this session.
type Earlier struct {
	Lesion int         `json:"lesion,omitempty"` // number of the lesion, 0 when it concerns the organ
	Kind   EarlierKind `json:"kind"`
	Date   Date        `json:"date,omitempty"`
	// Indication and ECura are those that the earlier resection had, in the
	// terms of the Japanese guideline ("absolute", "C-1").
	Indication EarlierIndication `json:"indication,omitempty"`
	ECura      EarlierECura      `json:"ecura,omitempty"`
	// LocalRecurrence: the present lesion has grown back at that place.
	LocalRecurrence Answer `json:"local_recurrence,omitempty"`
	Text            string `json:"text,omitempty"`
}

// EarlierKind is what was done earlier.
type EarlierKind string

// Earlier measures.
const (
	EarlierBiopsy    EarlierKind = "biopsy"
	EarlierResection EarlierKind = "endoscopic-resection"
	EarlierSurgery   EarlierKind = "surgery"
	EarlierAblation  EarlierKind = "ablation"
)

// EarlierIndication is the indication class of an earlier gastric resection.
type EarlierIndication string

// Indication classes of an earlier gastric resection.
const (
	EarlierAbsolute EarlierIndication = "absolute"
	EarlierExpanded EarlierIndication = "expanded"
	EarlierRelative EarlierIndication = "relative"
)

// EarlierECura is the curability class of an earlier gastric resection.
type EarlierECura string

// Curability classes of an earlier gastric resection.
const (
	EarlierECuraA  EarlierECura = "A"
	EarlierECuraB  EarlierECura = "B"
	EarlierECuraC1 EarlierECura = "C-1"
	EarlierECuraC2 EarlierECura = "C-2"
)

// AntithromboticHistory says how complete the list of antithrombotics is; it
// may also be a kind of absence.
type AntithromboticHistory string

// Degrees of completeness.
const (
	HistoryComplete   AntithromboticHistory = "complete-list"
	HistoryNoneTaken  AntithromboticHistory = "none-taken"
	HistoryIncomplete AntithromboticHistory = "incomplete-list"
)

// Antithrombotic is one drug against clotting and what was done with it.
type Antithrombotic struct {
	Class DrugClass `json:"class"`
	Agent Agent     `json:"agent,omitempty"`
	// Management around the resection. A replaced drug counts as interrupted.
	Management DrugManagement `json:"management,omitempty"`
	ReplacedBy DrugClass      `json:"replaced_by,omitempty"`
	Bridging   Bridging       `json:"bridging,omitempty"`
	LastDose   Time           `json:"last_dose,omitzero"`
	// PlannedRestart is the day on which the drug is to be taken again.
	PlannedRestart Date `json:"planned_restart,omitempty"`
}

// DrugClass is a class of antithrombotic drug.
type DrugClass string

// Classes of antithrombotic drug.
const (
	Aspirin            DrugClass = "aspirin"
	P2Y12              DrugClass = "p2y12-antagonist"
	Cilostazol         DrugClass = "cilostazol"
	OtherAntiplatelet  DrugClass = "other-antiplatelet"
	Warfarin           DrugClass = "warfarin"
	DOAC               DrugClass = "direct-oral-anticoagulant"
	Heparin            DrugClass = "heparin"
	LMWHeparin         DrugClass = "low-molecular-weight-heparin"
	OtherAnticoagulant DrugClass = "other-anticoagulant"
)

// Agent is a drug by its international nonproprietary name.
type Agent string

// Antithrombotic agents with a confirmed code.
const (
	AgentAspirin     Agent = "aspirin"
	AgentClopidogrel Agent = "clopidogrel"
	AgentPrasugrel   Agent = "prasugrel"
	AgentTicagrelor  Agent = "ticagrelor"
	AgentCilostazol  Agent = "cilostazol"
	AgentWarfarin    Agent = "warfarin"
	AgentApixaban    Agent = "apixaban"
	AgentRivaroxaban Agent = "rivaroxaban"
	AgentEdoxaban    Agent = "edoxaban"
	AgentDabigatran  Agent = "dabigatran-etexilate"
	AgentHeparin     Agent = "heparin"
	AgentLMWHeparin  Agent = "low-molecular-weight-heparin"
	AgentOther       Agent = "other"
)

// DrugManagement is what was done with a drug around the resection; it may
// also be a kind of absence.
type DrugManagement string

// Managements.
const (
	Continued   DrugManagement = "continued"
	Interrupted DrugManagement = "interrupted"
	Replaced    DrugManagement = "replaced"
)

// Bridging is what covered the gap of an interrupted anticoagulant; it may also
// be a kind of absence.
type Bridging string

// Kinds of bridging.
const (
	BridgingNone    Bridging = "none"
	BridgingHeparin Bridging = "heparin"
	BridgingLMWH    Bridging = "low-molecular-weight-heparin"
)

// RiskLevel is a two-step local judgement; it may also be a kind of absence.
type RiskLevel string

// Levels.
const (
	RiskLow  RiskLevel = "low"
	RiskHigh RiskLevel = "high"
)

// ASAClass is the American Society of Anesthesiologists physical status, "1"
// to "6"; it may also be a kind of absence.
type ASAClass string

// Classes of physical status.
const (
	ASA1 ASAClass = "1"
	ASA2 ASAClass = "2"
	ASA3 ASAClass = "3"
	ASA4 ASAClass = "4"
	ASA5 ASAClass = "5"
	ASA6 ASAClass = "6"
)

// HPyloriStatus is what is known of Helicobacter pylori; it may also be a kind
// of absence.
type HPyloriStatus string

// States of H. pylori infection.
const (
	HPyloriPositive   HPyloriStatus = "positive"
	HPyloriNegative   HPyloriStatus = "negative-never-treated"
	HPyloriEradicated HPyloriStatus = "eradicated"
	HPyloriFailed     HPyloriStatus = "eradication-failed"
)

// ImplantedDevice is an active implant that the current could disturb; it may
// also be a kind of absence.
type ImplantedDevice string

// Implants.
const (
	ImplantNone           ImplantedDevice = "none"
	ImplantPacemaker      ImplantedDevice = "pacemaker"
	ImplantDefibrillator  ImplantedDevice = "defibrillator"
	ImplantNeuromodulator ImplantedDevice = "neurostimulator"
	ImplantOther          ImplantedDevice = "other"
)

// ImplantPrecaution is what was done about an implant; it may also be a kind
// of absence.
type ImplantPrecaution string

// Precautions.
const (
	PrecautionNone          ImplantPrecaution = "none"
	PrecautionReprogrammed  ImplantPrecaution = "reprogrammed"
	PrecautionMagnet        ImplantPrecaution = "magnet"
	PrecautionTherapyOff    ImplantPrecaution = "therapies-switched-off"
	PrecautionBipolarOnly   ImplantPrecaution = "bipolar-only"
	PrecautionSpecialistSat ImplantPrecaution = "specialist-present"
)

// ElectrodeSite is where the neutral electrode was stuck; it may also be a
// kind of absence.
type ElectrodeSite string

// Sites of the neutral electrode.
const (
	ElectrodeThighLeft    ElectrodeSite = "left-thigh"
	ElectrodeThighRight   ElectrodeSite = "right-thigh"
	ElectrodeButtockLeft  ElectrodeSite = "left-buttock"
	ElectrodeButtockRight ElectrodeSite = "right-buttock"
	ElectrodeCalf         ElectrodeSite = "calf"
	ElectrodeArm          ElectrodeSite = "upper-arm"
	ElectrodeBack         ElectrodeSite = "back"
	ElectrodeOther        ElectrodeSite = "other"
)

// Sedation is what the patient was given for the session.
type Sedation struct {
	Depth SedationDepth `json:"depth,omitempty"`
	Drugs []Dose        `json:"drugs,omitempty"`
}

// SedationDepth is the deepest level intended; it may also be a kind of
// absence.
type SedationDepth string

// Depths of sedation.
const (
	SedationNone     SedationDepth = "none"
	SedationMinimal  SedationDepth = "minimal"
	SedationModerate SedationDepth = "moderate"
	SedationDeep     SedationDepth = "deep"
	SedationGeneral  SedationDepth = "general-anaesthesia"
)

// Dose is one drug of the sedation with its total dose in exactly one unit.
type Dose struct {
	Drug    SedationDrug `json:"drug"`
	DoseMg  Number       `json:"dose_mg,omitzero"` // milligram
	DoseUg  Number       `json:"dose_ug,omitzero"` // microgram
	Route   Route        `json:"route,omitempty"`
	GivenAt Time         `json:"given_at,omitzero"`
}

// SedationDrug is a drug given for the session, by nonproprietary name.
type SedationDrug string

// Sedatives, analgesics and spasmolytics.
const (
	Propofol     SedationDrug = "propofol"
	Midazolam    SedationDrug = "midazolam"
	Fentanyl     SedationDrug = "fentanyl"
	Pethidine    SedationDrug = "pethidine"
	Remifentanil SedationDrug = "remifentanil"
	Remimazolam  SedationDrug = "remimazolam"
	Ketamine     SedationDrug = "ketamine"
	Butylscopol  SedationDrug = "hyoscine-butylbromide"
	Glucagon     SedationDrug = "glucagon"
	OtherDrug    SedationDrug = "other"
)

// Route is how a drug was given.
type Route string

// Routes.
const (
	Intravenous   Route = "intravenous"
	Intramuscular Route = "intramuscular"
	Oral          Route = "oral"
	Topical       Route = "topical"
)

// Boston is the Boston bowel preparation scale: 0 to 3 for each segment.
type Boston struct {
	Right      Number `json:"right,omitzero"`
	Transverse Number `json:"transverse,omitzero"`
	Left       Number `json:"left,omitzero"`
}
