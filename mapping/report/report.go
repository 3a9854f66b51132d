package report

// Schema identifiers of the documents that enbloc reads. The number after the
// slash is the major version: a document of another major version is refused.
const (
	SchemaReport    = "enbloc.report/1"
	SchemaHistology = "enbloc.histology/1"
	SchemaEvents    = "enbloc.events/1"
)

// Identifier is a business identifier: a system (an absolute URI that says who
// gave it out) and a value. Names of people are never needed.
type Identifier struct {
	System string `json:"system"`
	Value  string `json:"value"`
}

// Zero reports whether the identifier was left out.
func (i Identifier) Zero() bool { return i == Identifier{} }

// Status is the state of the report as a document.
type Status string

// The states of a report. A withdrawn report is void (wrong patient, entered
// in error): the whole case is, with every part joined to it.
const (
	Draft     Status = "draft"
	Signed    Status = "signed"
	Amended   Status = "amended"   // content added or changed after signature
	Corrected Status = "corrected" // an error put right after signature
	Withdrawn Status = "withdrawn"
)

// Report is one session at the endoscope, whole: the envelope that says whose
// and which, and the content.
type Report struct {
	Schema string `json:"schema"`
	// TestData marks invented data; every resource made of it is labelled
	// HTEST and a target that serves patients refuses it.
	TestData bool `json:"test_data,omitempty"`

	SourceSystem string     `json:"source_system"` // absolute URI of the sending system
	ReportID     Identifier `json:"report_id"`
	Revision     int        `json:"revision"` // 1, 2, 3 …; a higher one replaces the whole report
	Status       Status     `json:"status"`
	StatusReason string     `json:"status_reason,omitempty"` // why amended, corrected or withdrawn
	WrittenAt    Time       `json:"written_at"`
	SignedAt     Time       `json:"signed_at,omitzero"`

	Author    *Identifier `json:"author,omitempty"`
	Signer    *Identifier `json:"signer,omitempty"`
	Operators []Operator  `json:"operators,omitempty"`
	Facility  *Identifier `json:"facility,omitempty"`
	Patient   Patient     `json:"patient"`
	Encounter *Identifier `json:"encounter,omitempty"`
	Order     *Identifier `json:"order,omitempty"`

	Before  *Before  `json:"before,omitempty"`
	Session Session  `json:"session"`
	Lesions []Lesion `json:"lesions"`
	Images  []Image  `json:"images,omitempty"`
	Events  []Event  `json:"events,omitempty"`
	Plan    *Plan    `json:"plan,omitempty"`
}

// Patient identifies the patient and holds the one fact that scores need.
type Patient struct {
	Identifier Identifier `json:"identifier"`
	// AgeY is the age on the day of the session, in completed years, 0 to 130.
	AgeY Number `json:"age_y,omitzero"`
}

// Operator is somebody who worked at the endoscope.
type Operator struct {
	Identifier Identifier   `json:"identifier"`
	Role       OperatorRole `json:"role"`
}

// OperatorRole is what an operator did in the session.
type OperatorRole string

// Roles at the endoscope.
const (
	OperatorLead       OperatorRole = "operator"
	OperatorTrainee    OperatorRole = "trainee"
	OperatorSupervisor OperatorRole = "supervisor"
	OperatorAssistant  OperatorRole = "assistant"
)

// Session is the time at the endoscope, scope in to scope out.
type Session struct {
	Kind      SessionKind `json:"kind"`
	Start     Time        `json:"start"`
	End       Time        `json:"end"`
	Endoscope Endoscope   `json:"endoscope,omitempty"`
	// Cap says whether a distal attachment was mounted.
	Cap Answer        `json:"cap,omitempty"`
	Gas InsufflantGas `json:"gas,omitempty"`
}

// SessionKind is the kind of endoscopy.
type SessionKind string

// Kinds of endoscopy.
const (
	UpperEndoscopy SessionKind = "upper-endoscopy"
	Colonoscopy    SessionKind = "colonoscopy"
	Sigmoidoscopy  SessionKind = "sigmoidoscopy"
	Enteroscopy    SessionKind = "enteroscopy"
)

// Endoscope is a type of endoscope.
type Endoscope string

// Types of endoscope.
const (
	Gastroscope  Endoscope = "gastroscope"
	Colonoscope  Endoscope = "colonoscope"
	Enteroscope  Endoscope = "enteroscope"
	Duodenoscope Endoscope = "side-viewing-duodenoscope"
)

// InsufflantGas is the gas that distends the lumen.
type InsufflantGas string

// Gases.
const (
	GasCO2 InsufflantGas = "carbon-dioxide"
	GasAir InsufflantGas = "air"
)

// Image refers to a picture that is kept elsewhere; enbloc never holds the
// picture itself.
type Image struct {
	URL         string    `json:"url"` // absolute, without patient data
	ContentType string    `json:"content_type"`
	View        ImageView `json:"view"`
	Lesion      int       `json:"lesion,omitempty"` // number of the lesion shown, 0 for none
	TakenAt     Time      `json:"taken_at,omitzero"`
	Title       string    `json:"title,omitempty"`
}

// ImageView is what a picture shows.
type ImageView string

// Views worth keeping of a resection.
const (
	ViewWhiteLight     ImageView = "white-light"
	ViewEnhanced       ImageView = "image-enhanced"
	ViewMagnified      ImageView = "magnified"
	ViewMarking        ImageView = "marking"
	ViewAfterIncision  ImageView = "after-incision"
	ViewDefect         ImageView = "defect"
	ViewClosure        ImageView = "closure"
	ViewPinnedSpecimen ImageView = "pinned-specimen"
	ViewLandmark       ImageView = "landmark"
)
