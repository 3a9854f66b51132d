package assess

// Description is one rule of the book, for printing and signing.
type Description struct {
	Rule      string    `json:"rule"`
	Guideline string    `json:"guideline"`
	Short     string    `json:"-"` // society and year, for narrow tables
	Edition   string    `json:"edition"`
	Source    string    `json:"source"`
	Confirmed Confirmed `json:"confirmed"`
	On        bool      `json:"on"`

	Title    string   `json:"-"`
	Society  string   `json:"-"` // the short name that Switch.Guideline takes
	Scope    Scope    `json:"-"`
	Cautions []string `json:"-"`
	Table    []Row    `json:"-"`
}

// Printed is the book as `enbloc rules --json` prints it.
type Printed struct {
	Version string        `json:"version"`
	Rules   []Description `json:"rules"`
}

// Print describes every rule of the book, on or off, in the order in which
// they are asked.
func (b Book) Print() Printed {
	out := Printed{Version: b.Version, Rules: make([]Description, 0, len(registry))}
	for _, r := range registry {
		out.Rules = append(out.Rules, Description{
			Rule: r.id, Guideline: r.from.guideline, Short: r.from.short, Edition: r.from.edition, Source: r.from.citation,
			Confirmed: r.confirmed, On: !b.off[r.id],
			Title: r.title, Society: r.from.society, Scope: r.scope,
			Cautions: append([]string{cautionDecides}, r.cautions...),
			Table:    append([]Row(nil), r.table...),
		})
	}
	return out
}
