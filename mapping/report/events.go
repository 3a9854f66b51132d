package report

// Event is something that went wrong, during the session or up to weeks after.
type Event struct {
	// ID names the event within its sender's system and never changes; a later
	// version of the event comes under the same ID.
	ID     string      `json:"id"`
	Lesion int         `json:"lesion,omitempty"` // number of the lesion it came from, 0 when none can be named
	Kind   EventKind   `json:"kind"`
	Timing EventTiming `json:"timing"`

	OccurredAt   Time `json:"occurred_at,omitzero"`
	RecognisedAt Time `json:"recognised_at,omitzero"`
	RecordedAt   Time `json:"recorded_at"`
	// Retracted voids the event: it was entered in error.
	Retracted bool `json:"retracted,omitempty"`

	Symptoms           []Symptom `json:"symptoms,omitempty"`
	Unstable           Answer    `json:"haemodynamically_unstable,omitempty"`
	EmergencyEndoscopy Answer    `json:"emergency_endoscopy,omitempty"`
	HbBeforeGDl        Number    `json:"hb_before_g_dl,omitzero"` // haemoglobin, g/dL
	HbAfterGDl         Number    `json:"hb_after_g_dl,omitzero"`
	Transfusion        Answer    `json:"transfusion,omitempty"`
	TransfusionUnits   Number    `json:"transfusion_units,omitzero"`

	LocalTenderness Answer `json:"local_tenderness,omitempty"`
	TempC           Number `json:"temp_c,omitzero"`    // degree Celsius
	CRPMgDl         Number `json:"crp_mg_dl,omitzero"` // mg/dL
	WBCPerUl        Number `json:"wbc_per_ul,omitzero"`

	Interventions       []Intervention `json:"interventions,omitempty"`
	InterventionNeeded  Answer         `json:"intervention_needed,omitempty"` // "no" only when none was needed
	ProcedureAborted    Answer         `json:"procedure_aborted,omitempty"`
	UnplannedContact    Contact        `json:"unplanned_contact,omitempty"`
	Drugs               DrugTreatment  `json:"drug_treatment,omitempty"`
	ObservationH        Number         `json:"extended_observation_h,omitzero"` // hours of longer observation without admission
	AdmissionH          Number         `json:"admission_h,omitzero"`            // hours of unplanned admission
	UnplannedNights     Number         `json:"unplanned_nights,omitzero"`       // nights in hospital, or nights longer
	ICUNights           Number         `json:"icu_nights,omitzero"`
	OrganFailures       Number         `json:"organ_failures,omitzero"` // organs that failed and needed intensive care
	PermanentDisability Answer         `json:"permanent_disability,omitempty"`
	Outcome             EventOutcome   `json:"outcome,omitempty"`
	Text                string         `json:"text,omitempty"`
}

// EventKind is the kind of adverse event.
type EventKind string

// Kinds of event.
const (
	EventBleeding     EventKind = "bleeding"
	EventPerforation  EventKind = "perforation"
	EventStricture    EventKind = "stricture"
	EventCoagulation  EventKind = "coagulation-syndrome"
	EventAspiration   EventKind = "aspiration-pneumonia"
	EventInfection    EventKind = "infection"
	EventCardiorespir EventKind = "cardiorespiratory"
	EventSedation     EventKind = "sedation"
	EventThrombosis   EventKind = "thromboembolism"
	EventEmphysema    EventKind = "subcutaneous-emphysema"
	EventDeath        EventKind = "death"
	EventOther        EventKind = "other"
)

// EventTiming is whether an event happened during or after the session.
type EventTiming string

// Timings.
const (
	DuringSession EventTiming = "during"
	AfterSession  EventTiming = "after"
)

// Symptom is how a bleeding showed.
type Symptom string

// Symptoms.
const (
	Haematemesis  Symptom = "haematemesis"
	Melaena       Symptom = "melaena"
	Haematochezia Symptom = "haematochezia"
	Syncope       Symptom = "syncope"
	Pain          Symptom = "pain"
	Fever         Symptom = "fever"
	Dysphagia     Symptom = "dysphagia"
)

// Intervention is what an event needed.
type Intervention struct {
	Kind InterventionKind `json:"kind"`
	At   Time             `json:"at,omitzero"`
	With []VesselTool     `json:"with,omitempty"`
}

// InterventionKind is the kind of intervention.
type InterventionKind string

// Interventions.
const (
	InterveneHaemostasis InterventionKind = "endoscopic-haemostasis"
	InterveneClosure     InterventionKind = "endoscopic-closure"
	InterveneDilation    InterventionKind = "endoscopic-dilation"
	InterveneEndoscopy   InterventionKind = "endoscopy-without-treatment"
	InterveneRadiology   InterventionKind = "interventional-radiology"
	InterveneDrainage    InterventionKind = "percutaneous-drainage"
	InterveneSurgery     InterventionKind = "surgery"
	InterveneVentilation InterventionKind = "ventilatory-support"
)

// Contact is an unplanned contact with health care; it may also be a kind of
// absence.
type Contact string

// Contacts.
const (
	ContactNone      Contact = "none"
	ContactPhone     Contact = "phone-call-only"
	ContactClinic    Contact = "outpatient-visit"
	ContactEmergency Contact = "emergency-visit"
)

// DrugTreatment is what drugs an event needed; it may also be a kind of
// absence. "Supportive" are antiemetics, antipyretics, analgesics and
// electrolytes (Nass, Gastrointest Endosc 2022;95:1078).
type DrugTreatment string

// Drug treatments.
const (
	DrugsNone       DrugTreatment = "none"
	DrugsSupportive DrugTreatment = "supportive-only"
	DrugsOther      DrugTreatment = "beyond-supportive"
)

// EventOutcome is how an event ended; it may also be a kind of absence.
type EventOutcome string

// Outcomes.
const (
	OutcomeResolved   EventOutcome = "resolved"
	OutcomeRecovering EventOutcome = "recovering"
	OutcomeOngoing    EventOutcome = "ongoing"
	OutcomeSequelae   EventOutcome = "resolved-with-sequelae"
	OutcomeFatal      EventOutcome = "fatal"
)
