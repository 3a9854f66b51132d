package report

// Plan is what is to follow, as decided by the people who sign.
type Plan struct {
	FollowUps          []FollowUp      `json:"follow_ups,omitempty"`
	HPylori            HPyloriPlan     `json:"h_pylori,omitempty"`
	Referrals          []Referral      `json:"referrals,omitempty"`
	AntithromboticPlan []RestartOfDrug `json:"antithrombotic_restart,omitempty"`
	Text               string          `json:"text,omitempty"`
}

// FollowUp is one planned look.
type FollowUp struct {
	Kind FollowUpKind `json:"kind"`
	// Earliest and Latest bound the time, whole or partial dates.
	Earliest Date   `json:"earliest,omitempty"`
	Latest   Date   `json:"latest,omitempty"`
	Reason   string `json:"reason,omitempty"`
	Lesion   int    `json:"lesion,omitempty"`
}

// FollowUpKind is what is planned.
type FollowUpKind string

// Follow-up.
const (
	FollowUpEndoscopy FollowUpKind = "endoscopy"
	FollowUpCT        FollowUpKind = "computed-tomography"
	FollowUpUltrason  FollowUpKind = "ultrasound"
	FollowUpClinic    FollowUpKind = "outpatient-visit"
)

// HPyloriPlan is what is planned about Helicobacter pylori; it may also be a
// kind of absence.
type HPyloriPlan string

// Plans.
const (
	HPyloriTest      HPyloriPlan = "test"
	HPyloriEradicate HPyloriPlan = "eradicate"
	HPyloriConfirm   HPyloriPlan = "confirm-eradication"
	HPyloriNothing   HPyloriPlan = "nothing"
)

// Referral hands the case to others.
type Referral struct {
	To     ReferralTo `json:"to"`
	Lesion int        `json:"lesion,omitempty"`
	Reason string     `json:"reason,omitempty"`
}

// ReferralTo is who a case is referred to.
type ReferralTo string

// Referrals.
const (
	ToBoard         ReferralTo = "multidisciplinary-board"
	ToSurgery       ReferralTo = "surgery"
	ToOncology      ReferralTo = "oncology"
	ToRadiotherapy  ReferralTo = "radiotherapy"
	ToExpertReading ReferralTo = "expert-pathology-review"
)

// RestartOfDrug is when an interrupted antithrombotic is taken again.
type RestartOfDrug struct {
	Class DrugClass `json:"class"`
	On    Date      `json:"on,omitempty"`
	Text  string    `json:"text,omitempty"`
}
