package term

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// OrganContext is the property by which a target of a site's ConceptMap says
// for which organ it holds (ConceptMap.group.element.target.dependsOn): its
// value is the code of one of our organ concepts.
const OrganContext = Base + "/ValueSet/enbloc-organ"

// SiteGroups are the groups of concepts for which sites usually have local
// codes: procedures and places in the body.
var SiteGroups = []string{"session-kind", "technique", "procedure", "intervention", "organ", "site"}

// Local is a code of the site for one of our concepts.
type Local struct {
	System, Code, Display string
	Organ                 string // organ concept for which alone it holds; "" for all
}

// Overlay is what a site adds to our concepts: its own codes, sent beside ours
// and never in their place. The zero Overlay adds nothing.
type Overlay struct {
	locals   map[string][]Local // by our code, in the order of the file
	displays map[string]string  // by system + "|" + code
}

// sendable are the equivalences of R4 by which the target means the same as
// our concept or more. Any other target would say what the report does not.
var sendable = map[string]bool{"equal": true, "equivalent": true, "wider": true, "subsumes": true}

// noMatch are the equivalences that say that there is no code.
var noMatch = map[string]bool{"unmatched": true, "disjoint": true}

var (
	errNoMap   = errors.New("the file is not a FHIR R4 ConceptMap: its resourceType has to be ConceptMap")
	localCode  = regexp.MustCompile(`^\S+( \S+)*$`) // FHIR's data type code
	maxDisplay = 250                                // characters; longer is no name of a code
)

type siteMap struct {
	ResourceType string      `json:"resourceType"`
	Group        []siteGroup `json:"group"`
}

type siteGroup struct {
	Source  string `json:"source"`
	Target  string `json:"target"`
	Element []struct {
		Code   string       `json:"code"`
		Target []siteTarget `json:"target"`
	} `json:"element"`
}

type siteTarget struct {
	Code, Display, Equivalence string
	DependsOn                  []struct{ Property, Value string }
}

// ReadOverlay reads a FHIR R4 ConceptMap from our concepts to a site's codes.
// It refuses the whole file at the first mistake, with words for the person
// who wrote it: a map half understood would leave out codes in silence.
func ReadOverlay(raw []byte) (Overlay, error) {
	var m siteMap
	if err := json.Unmarshal(raw, &m); err != nil {
		return Overlay{}, fmt.Errorf("reading a ConceptMap: %w", err)
	}
	if m.ResourceType != "ConceptMap" {
		return Overlay{}, errNoMap
	}
	o := Overlay{locals: map[string][]Local{}, displays: map[string]string{}}
	for _, g := range m.Group {
		if err := o.take(g); err != nil {
			return Overlay{}, err
		}
	}
	return o, nil
}

func (o Overlay) take(g siteGroup) error {
	if g.Source != System {
		return fmt.Errorf("a group of the ConceptMap has the source %q: it has to be %s", g.Source, System)
	}
	if u, err := url.Parse(g.Target); err != nil || u.Scheme == "" {
		return fmt.Errorf("a group of the ConceptMap has the target %q: it has to be the absolute URI of the site's code system", g.Target)
	}
	if g.Target == System {
		return errors.New("the target is our own code system: it has to be the site's")
	}
	for _, c := range Codes() {
		if c.System == g.Target {
			return fmt.Errorf("the target %s is a standard code system: its codes come from the code table only", g.Target)
		}
	}
	for _, e := range g.Element {
		if _, ok := concepts().byCode[e.Code]; !ok {
			return fmt.Errorf("the ConceptMap maps %q, which is none of our concepts: enbloc codes --system enbloc lists them", e.Code)
		}
		for _, t := range e.Target {
			local, err := t.local(g.Target)
			if err != nil {
				return fmt.Errorf("the ConceptMap's target %q of %s: %w", t.Code, e.Code, err)
			}
			if noMatch[t.Equivalence] {
				continue
			}
			if said, ok := o.displays[g.Target+"|"+t.Code]; ok && said != t.Display {
				return fmt.Errorf("the ConceptMap gives %q two displays, %q and %q", t.Code, said, t.Display)
			}
			o.displays[g.Target+"|"+t.Code] = t.Display
			if !slices.Contains(o.locals[e.Code], local) {
				o.locals[e.Code] = append(o.locals[e.Code], local)
			}
		}
	}
	return nil
}

func (t siteTarget) local(system string) (Local, error) {
	l := Local{System: system, Code: t.Code, Display: t.Display}
	if noMatch[t.Equivalence] {
		return l, nil
	}
	if !sendable[t.Equivalence] {
		return l, fmt.Errorf("its equivalence is %q; only equal, equivalent, wider and subsumes can be sent, "+
			"as any other would say what the report does not", t.Equivalence)
	}
	if !localCode.MatchString(t.Code) || !printable(t.Code) {
		return l, errors.New("the code is empty or has space where a FHIR code has none")
	}
	if t.Display != strings.TrimSpace(t.Display) || !printable(t.Display) || utf8.RuneCountInString(t.Display) > maxDisplay {
		return l, fmt.Errorf("the display has to be one line of at most %d characters without space around it", maxDisplay)
	}
	for _, d := range t.DependsOn {
		if d.Property != OrganContext || l.Organ != "" {
			return l, fmt.Errorf("it depends on %q; the only context known is one %s", d.Property, OrganContext)
		}
		if c, ok := concepts().byCode[d.Value]; !ok || c.Group != "organ" {
			return l, fmt.Errorf("it depends on the organ %q, which is none of our organs, such as organ-stomach", d.Value)
		}
		l.Organ = d.Value
	}
	return l, nil
}

func printable(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) || r == unicode.ReplacementChar })
}

// For returns the site's codes for one of our concepts; organ is the code of an
// organ concept, or "" where the organ plays no part.
func (o Overlay) For(code, organ string) []Local {
	var out []Local
	for _, l := range o.locals[code] {
		if l.Organ == "" || l.Organ == organ {
			out = append(out, l)
		}
	}
	return out
}

// All are the site's codes by the code of our concept.
func (o Overlay) All() map[string][]Local { return o.locals }

// Gap is a concept for which the site has no code; Organs are the organs for
// which alone it has none, empty for all.
type Gap struct {
	Concept Concept
	Organs  []string
}

// Unmapped lists the concepts of [SiteGroups] that go out without a code of the
// site, in the order of the table.
func (o Overlay) Unmapped() []Gap {
	var organs []string
	for _, c := range Concepts() {
		if c.Group == "organ" {
			organs = append(organs, c.Code)
		}
	}
	var out []Gap
	for _, c := range Concepts() {
		if !slices.Contains(SiteGroups, c.Group) || len(o.For(c.Code, "")) > 0 {
			continue
		}
		gap := Gap{Concept: c}
		for _, organ := range organs {
			if len(o.For(c.Code, organ)) == 0 {
				gap.Organs = append(gap.Organs, organ)
			}
		}
		switch len(gap.Organs) {
		case 0:
			continue
		case len(organs):
			gap.Organs = nil
		}
		out = append(out, gap)
	}
	return out
}
