package report

// Specimen is what was handed to the laboratory from one lesion.
type Specimen struct {
	Retrieved   Answer      `json:"retrieved,omitempty"`
	SizeLongMm  Number      `json:"size_long_mm,omitzero"` // stretched and pinned
	SizeShortMm Number      `json:"size_short_mm,omitzero"`
	Orientation Orientation `json:"orientation,omitempty"`
	Pinned      Answer      `json:"pinned,omitempty"`
	Photo       Answer      `json:"photographed,omitempty"`
	Fixative    Fixative    `json:"fixative,omitempty"`
	PinnedAt    Time        `json:"pinned_at,omitzero"`
	FixedAt     Time        `json:"fixed_at,omitzero"`
	Containers  []Container `json:"containers,omitempty"`
	Text        string      `json:"text,omitempty"`
}

// Orientation is whether the sides of a specimen can be told; it may also be a
// kind of absence.
type Orientation string

// Orientation.
const (
	OrientationMarked Orientation = "marked"
	OrientationLost   Orientation = "not-marked"
)

// Fixative is what the specimen lies in; it may also be a kind of absence.
type Fixative string

// Fixatives.
const (
	Formalin10    Fixative = "10-percent-neutral-buffered-formalin"
	FixativeOther Fixative = "other"
)

// Container is one pot or board as it leaves the room.
type Container struct {
	Identifier *Identifier `json:"identifier,omitempty"`
	// Accession is the laboratory's number, when it is known already.
	Accession *Identifier `json:"accession,omitempty"`
	Pieces    Number      `json:"pieces,omitzero"`
	Content   string      `json:"content,omitempty"`
	// ReceivedAt is when the laboratory took it in.
	ReceivedAt Time `json:"received_at,omitzero"`
}
