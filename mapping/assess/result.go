package assess

// Confirmed says how far a rule has been confirmed against its source.
type Confirmed string

// Degrees of confirmation, the surest first.
const (
	Primary       Confirmed = "primary"       // the publication's own page or abstract was read
	SecondHand    Confirmed = "second-hand"   // a review, summary or table that quotes it was read
	Transcription Confirmed = "transcription" // only a transcription of it in a third party's work was read
	Memory        Confirmed = "memory"        // from memory, not confirmed
	Arithmetic    Confirmed = "arithmetic"    // follows from a definition by calculation
)

// Answers that any rule may give.
const (
	// CannotBeAssessed is the answer when an input that decides is missing.
	// Result.Missing then names what.
	CannotBeAssessed = "cannot-be-assessed"
	// NotApplicable is the answer of a rule that was asked and does not concern
	// this lesion. Rules that plainly do not apply give no result at all.
	NotApplicable = "not-applicable"
)

// Result is what one rule says about one lesion, one event or the session.
type Result struct {
	Rule      string    `json:"rule"`      // "R2.gastric.curability.ecura"
	Title     string    `json:"title"`     // the question, in words
	Guideline string    `json:"guideline"` // "JGES/JGCA ESD-EMR guideline for early gastric cancer"
	Short     string    `json:"short"`     // society and year, for narrow tables: "JGES 2021"
	Edition   string    `json:"edition"`   // "2nd edition, 2021"
	Source    string    `json:"source"`    // citation with DOI or PMID
	Confirmed Confirmed `json:"confirmed"` // how far this answer's rule is confirmed

	Lesion int    `json:"lesion,omitempty"` // number of the lesion, 0 when it is not about one
	Event  string `json:"event,omitempty"`  // id of the event, when it is about one

	// Answer is the class, group or figure, or CannotBeAssessed.
	Answer string `json:"answer"`
	// AnswerText is the answer as people read it: "eCura B", "after 1 year".
	// What rests on memory says so here too, so that no table drops it.
	AnswerText string `json:"answer_text,omitempty"`
	// Values are the parts of the answer by name ("ecura": "B",
	// "points": 2, "rate_pct": 6.1): string, bool, float64 or []float64.
	Values map[string]any `json:"values,omitempty"`
	// Risk is the published figure that belongs to the answer, if any.
	Risk *Risk `json:"risk,omitempty"`
	// Reason is one sentence that a clinician would say.
	Reason string `json:"reason"`
	// Inputs are JSON Pointers into the report to what decided; never empty.
	Inputs []string `json:"inputs"`
	// Missing are JSON Pointers to what was looked for and not found.
	Missing []string `json:"missing"`
	// Decides says what a missing input would decide: "B below 500 µm, C-2
	// from 500 µm".
	Decides  string   `json:"would_decide,omitempty"`
	Cautions []string `json:"cautions"`
}

// Risk is a published risk with what it was counted on.
type Risk struct {
	Of          string  `json:"of"`               // "lymph node metastasis"
	Pct         float64 `json:"pct"`              // percent
	CILow       float64 `json:"ci_low,omitempty"` // 95% interval, percent; 0 and 0 when none was published
	CIHigh      float64 `json:"ci_high,omitempty"`
	Events      int     `json:"events,omitempty"` // numerator, when published
	Denominator int     `json:"denominator,omitempty"`
	Setting     string  `json:"setting,omitempty"` // where and in whom it was counted
}
