package report

// Resection is what was done to one lesion.
type Resection struct {
	Technique Technique      `json:"technique"`
	Planned   Technique      `json:"planned_technique,omitempty"` // when it was another one
	Aids      []TechniqueAid `json:"aids,omitempty"`
	// Completion is whether the resection was carried through.
	Completion Completion `json:"completion,omitempty"`
	StopReason StopReason `json:"stop_reason,omitempty"`
	StopText   string     `json:"stop_text,omitempty"`

	// Phases give the time line; the resection runs from the first start to
	// the last end.
	Phases []Phase `json:"phases,omitempty"`

	Marking          *Marking         `json:"marking,omitempty"`
	Injections       []Injection      `json:"injections,omitempty"`
	Incision         *Incision        `json:"incision,omitempty"`
	Trimming         Answer           `json:"trimming,omitempty"`
	Knives           []Instrument     `json:"knives,omitempty"`
	Settings         []Setting        `json:"settings,omitempty"`
	Vessels          []Vessel         `json:"vessels,omitempty"`
	Bleeding         []BleedingSpell  `json:"bleeding,omitempty"`
	BleedingOccurred Answer           `json:"bleeding_occurred,omitempty"` // "no" only when it was looked for and none occurred
	Base             *BaseCoagulation `json:"base_coagulation,omitempty"`
	Fibrosis         Fibrosis         `json:"fibrosis,omitempty"`
	Muscle           MuscleInjury     `json:"muscle_injury,omitempty"`
	Closure          *Closure         `json:"closure,omitempty"`

	// Pieces is the number of pieces the lesion came out in, 1 or more.
	Pieces Number `json:"pieces,omitzero"`
	// VisibleResidual: lesion left in place, as seen at the end.
	VisibleResidual Answer `json:"visible_residual,omitempty"`
	// DefectCircumferencePct is the share of the circumference that the
	// mucosal defect (not the lesion) takes, 0 to 100.
	DefectCircumferencePct Number `json:"defect_circumference_pct,omitzero"`
	DefectLengthMm         Number `json:"defect_length_mm,omitzero"`
	// StricturePrevention is what was given against a stricture.
	StricturePrevention StricturePrevention `json:"stricture_prevention,omitempty"`
}

// Technique is the way of resecting.
type Technique string

// Techniques.
const (
	ESD           Technique = "esd"
	HybridESD     Technique = "hybrid-esd"
	EMR           Technique = "emr"
	PrecutEMR     Technique = "precut-emr"
	UnderwaterEMR Technique = "underwater-emr"
	HotSnare      Technique = "hot-snare"
	ColdSnare     Technique = "cold-snare"
	FullThickness Technique = "full-thickness-resection"
)

// Dissects reports whether the submucosa is dissected with a knife.
func (t Technique) Dissects() bool { return t == ESD || t == HybridESD }

// TechniqueAid is a variation of the dissection.
type TechniqueAid string

// Variations.
const (
	AidPocket         TechniqueAid = "pocket-creation"
	AidTunnel         TechniqueAid = "tunnel"
	AidTractionClip   TechniqueAid = "traction-clip-and-line"
	AidTractionSpring TechniqueAid = "traction-internal"
	AidTractionOther  TechniqueAid = "traction-other"
	AidUnderwater     TechniqueAid = "underwater"
)

// Completion is how the resection ended; it may also be a kind of absence.
type Completion string

// Ends of a resection.
const (
	CompletionComplete  Completion = "complete"
	CompletionPartial   Completion = "partial"
	CompletionAbandoned Completion = "abandoned"
)

// StopReason is why a resection was not completed; it may also be a kind of
// absence.
type StopReason string

// Reasons for stopping.
const (
	StopFibrosis    StopReason = "fibrosis"
	StopDeep        StopReason = "signs-of-deep-invasion"
	StopPerforation StopReason = "perforation"
	StopBleeding    StopReason = "bleeding"
	StopAccess      StopReason = "poor-access"
	StopSedation    StopReason = "sedation-or-cardiorespiratory"
	StopTime        StopReason = "time"
	StopOther       StopReason = "other"
)

// Phase is one stretch of the time line. Phases may repeat and overlap.
type Phase struct {
	Step  Step `json:"step"`
	Start Time `json:"start"`
	End   Time `json:"end"`
}

// Step is a step of the resection.
type Step string

// Steps.
const (
	StepMarking     Step = "marking"
	StepInjection   Step = "injection"
	StepIncision    Step = "incision"
	StepTrimming    Step = "trimming"
	StepDissection  Step = "dissection"
	StepSnaring     Step = "snaring"
	StepHaemostasis Step = "haemostasis"
	StepBase        Step = "base-coagulation"
	StepClosure     Step = "closure"
)

// Marking is the row of dots around the lesion.
type Marking struct {
	Done Answer `json:"done"`
	// DistanceMm is the distance of the dots from the lesion's edge.
	DistanceMm Number `json:"distance_mm,omitzero"`
	// Oral marks which side is oral by an extra dot.
	OralSideMarked Answer `json:"oral_side_marked,omitempty"`
}

// Injection is one injection under the lesion.
type Injection struct {
	Agent     Injectate       `json:"agent"`
	Additives []InjectateDye  `json:"additives,omitempty"`
	VolumeML  Number          `json:"volume_ml,omitzero"`
	FirstSide Side            `json:"first_side,omitempty"`
	Extent    Extent          `json:"extent,omitempty"`
	Lift      Lift            `json:"lift,omitempty"`
	Timing    InjectionTiming `json:"timing,omitempty"`
	GivenAt   Time            `json:"given_at,omitzero"`
}

// Injectate is the solution that lifts the mucosa.
type Injectate string

// Solutions.
const (
	InjectSaline       Injectate = "saline"
	InjectHyaluronate  Injectate = "sodium-hyaluronate"
	InjectGlycerol     Injectate = "glycerol-fructose"
	InjectStarch       Injectate = "hydroxyethyl-starch"
	InjectSuccinylated Injectate = "succinylated-gelatin"
	InjectViscousOther Injectate = "other-viscous-solution"
)

// InjectateDye is added to the solution.
type InjectateDye string

// Additives.
const (
	AddAdrenaline    InjectateDye = "adrenaline"
	AddIndigoCarmine InjectateDye = "indigo-carmine"
	AddMethyleneBlue InjectateDye = "methylene-blue"
)

// Side is a side of the lesion as the endoscope sees it; it may also be a kind
// of absence.
type Side string

// Sides.
const (
	NearSide  Side = "near"
	FarSide   Side = "far"
	LeftSide  Side = "left"
	RightSide Side = "right"
)

// Extent is how far round the lesion something goes; it may also be a kind of
// absence.
type Extent string

// Extents.
const (
	Partial         Extent = "partial"
	Circumferential Extent = "circumferential"
)

// Lift is how well the mucosa rose; it may also be a kind of absence.
type Lift string

// Lifts.
const (
	LiftGood Lift = "good"
	LiftFair Lift = "fair"
	LiftPoor Lift = "poor"
	LiftNone Lift = "none"
)

// InjectionTiming is when an injection was given.
type InjectionTiming string

// Timings.
const (
	InjectionInitial InjectionTiming = "initial"
	InjectionRepeat  InjectionTiming = "repeat"
)

// Incision is the mucosal cut around the lesion.
type Incision struct {
	// Extent at the start, before dissection began.
	Extent Extent `json:"extent,omitempty"`
	Began  Side   `json:"began,omitempty"`
}

// Instrument is a type of instrument at the tip of which current is applied.
type Instrument string

// Instruments by type. Product names are never recorded.
const (
	KnifeNeedle       Instrument = "needle-type-knife"
	KnifeNeedleJet    Instrument = "needle-type-knife-with-water-jet"
	KnifeInsulatedTip Instrument = "insulated-tip-knife"
	KnifeScissor      Instrument = "scissor-type-knife"
	KnifeHook         Instrument = "hook-knife"
	HaemoForceps      Instrument = "haemostatic-forceps"
	Snare             Instrument = "snare"
	PlasmaProbe       Instrument = "argon-plasma-probe"
)

// NeedleType reports whether the instrument is a needle-type knife.
func (i Instrument) NeedleType() bool { return i == KnifeNeedle || i == KnifeNeedleJet }

// Setting is the generator's setting for one step, as entered. enbloc stores
// settings and never proposes one.
type Setting struct {
	Step       Step       `json:"step"`
	Instrument Instrument `json:"instrument,omitempty"`
	Output     Output     `json:"output,omitempty"`
	// Effect is the generator's own, dimensionless step.
	Effect Number `json:"effect,omitzero"`
	// MaxW is the upper limit of power, in watts.
	MaxW      Number      `json:"max_w,omitzero"`
	Generator *Identifier `json:"generator,omitempty"` // asset identifier
}

// Output is the kind of current, by what it does to tissue.
type Output string

// Kinds of output.
const (
	OutputPureCut        Output = "pure-cut"
	OutputPulsedCut      Output = "pulsed-cut"
	OutputBlendedCut     Output = "blended-cut"
	OutputDissectingCoag Output = "dissecting-coagulation"
	OutputForcedCoag     Output = "forced-coagulation"
	OutputSoftCoag       Output = "soft-coagulation"
	OutputSprayCoag      Output = "spray-coagulation"
	OutputArgonPlasma    Output = "argon-plasma-coagulation"
	OutputBipolarCoag    Output = "bipolar-coagulation"
)

// Vessel is one visible vessel that was dealt with.
type Vessel struct {
	Size  VesselSize `json:"size,omitempty"`
	When  VesselWhen `json:"when,omitempty"`
	With  VesselTool `json:"with,omitempty"`
	Count Number     `json:"count,omitzero"` // how many alike; 1 when left out
	At    Time       `json:"at,omitzero"`
}

// VesselSize is the size class of a vessel; it may also be a kind of absence.
type VesselSize string

// Size classes.
const (
	VesselSmall VesselSize = "small"
	VesselLarge VesselSize = "large"
)

// VesselWhen is when a vessel was dealt with; it may also be a kind of absence.
type VesselWhen string

// Moments.
const (
	BeforeCutting  VesselWhen = "before-cutting"
	AfterBleeding  VesselWhen = "after-bleeding"
	CutWithoutCoag VesselWhen = "cut-without-prior-coagulation"
	AfterResection VesselWhen = "after-resection"
)

// VesselTool is what a vessel was dealt with.
type VesselTool string

// Tools.
const (
	ToolKnife   VesselTool = "knife"
	ToolForceps VesselTool = "haemostatic-forceps"
	ToolClip    VesselTool = "clip"
)

// BleedingSpell is one bleeding during the resection.
type BleedingSpell struct {
	Start     Time         `json:"start,omitzero"`
	End       Time         `json:"end,omitzero"`
	Kind      BleedingKind `json:"kind,omitempty"`
	StoppedBy []VesselTool `json:"stopped_by,omitempty"`
}

// BleedingKind is how it bled; it may also be a kind of absence.
type BleedingKind string

// Kinds of bleeding.
const (
	Oozing   BleedingKind = "oozing"
	Spurting BleedingKind = "spurting"
)

// BaseCoagulation is the coagulation of visible vessels on the base of the
// defect after the specimen is free.
type BaseCoagulation struct {
	Done  Answer     `json:"done"`
	With  VesselTool `json:"with,omitempty"`
	Start Time       `json:"start,omitzero"`
	End   Time       `json:"end,omitzero"`
}

// Fibrosis grades the submucosa found; it may also be a kind of absence.
type Fibrosis string

// Grades: none, mild (web-like), severe (muscle-like band). Common practice
// after published grading schemes; no threshold hangs on it.
const (
	FibrosisF0 Fibrosis = "F0"
	FibrosisF1 Fibrosis = "F1"
	FibrosisF2 Fibrosis = "F2"
)

// MuscleInjury is the type of deep mural injury, 0 to V (Burgess, Gut
// 2017;66:1779); it may also be a kind of absence.
type MuscleInjury string

// Types of deep mural injury.
const (
	MuscleInjury0   MuscleInjury = "0"
	MuscleInjuryI   MuscleInjury = "I"   // muscle seen, intact, no fibrosis
	MuscleInjuryII  MuscleInjury = "II"  // muscle intact, focal loss of the submucosal plane, fibrosis
	MuscleInjuryIII MuscleInjury = "III" // target sign
	MuscleInjuryIV  MuscleInjury = "IV"  // hole, no contamination
	MuscleInjuryV   MuscleInjury = "V"   // hole, contamination
)

// Closure is the closing of the defect.
type Closure struct {
	Result ClosureResult `json:"result"`
	Means  []ClosureMean `json:"means,omitempty"`
	Clips  Number        `json:"clips,omitzero"` // number of clips
	Start  Time          `json:"start,omitzero"`
	End    Time          `json:"end,omitzero"`
}

// ClosureResult is how far the defect is closed; it may also be a kind of
// absence.
type ClosureResult string

// Results.
const (
	ClosureNone     ClosureResult = "not-closed"
	ClosurePartial  ClosureResult = "partly-closed"
	ClosureComplete ClosureResult = "closed"
)

// ClosureMean is what the defect was closed or covered with.
type ClosureMean string

// Means.
const (
	CloseClip   ClosureMean = "through-the-scope-clip"
	CloseOTSC   ClosureMean = "cap-mounted-clip"
	CloseSuture ClosureMean = "endoscopic-suture"
	CloseLoop   ClosureMean = "clip-and-loop"
	CoverSheet  ClosureMean = "absorbable-sheet"
	CoverGel    ClosureMean = "haemostatic-gel-or-powder"
)

// StricturePrevention is what was given against a stricture; it may also be a
// kind of absence.
type StricturePrevention string

// Prevention.
const (
	PreventNone  StricturePrevention = "none"
	PreventOral  StricturePrevention = "oral-steroid"
	PreventLocal StricturePrevention = "injected-steroid"
	PreventBoth  StricturePrevention = "oral-and-injected-steroid"
)
