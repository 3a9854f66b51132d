// Package pseudo turns the graph of a case into what a registry may have of it.
//
// It promises that nothing leaves which nobody allowed: a field goes out only
// when the [AllowList] names it, and then only in the way that the list says. No
// way lets a free text out. Every key is made anew under a secret of the
// recipient, in systems of the recipient's own, so that two cases of one patient
// belong together for one recipient and two recipients cannot join theirs.
// Dates are moved by one number of days for each patient, or cut to the month;
// ages above 89 years become "90 or more". Every resource is labelled PSEUDED.
//
// What comes out is valid R4, and the same graph and settings always give the
// same bytes. It is pseudonymous, not anonymous: who holds the secret, or knows
// enough of a case, can still find the patient.
package pseudo

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/google/uuid"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// Dates says what becomes of dates and times.
type Dates string

// The ways to treat dates.
const (
	// Shift moves every date and time of a patient back by the same number of
	// whole days, 1 to 365, so that every interval stays. Times are written in
	// UTC, as an offset tells country and season. A date of a year or a month
	// alone moves with its middle, and keeps its precision.
	Shift Dates = "shift"
	// Month cuts every date to the year and month in which it was written. What
	// R4 gives as an instant cannot be cut and is left out; where R4 requires it,
	// it is marked as masked.
	Month Dates = "month"
)

// Settings are those of one recipient. Name, Secret and System make every
// identity that the recipient gets: with any of them changed, all cases are new
// ones there.
type Settings struct {
	// Name of the recipient: 1 to 40 lower-case letters, digits and hyphens.
	Name string
	// Secret is the recipient's own, 32 bytes at least (RFC 2104, section 3: no
	// shorter than the hash that it drives).
	Secret []byte
	// System is the URL below which the recipient's identifier systems stand;
	// empty means one of ours, made of Name.
	System string
	// Dates is Shift or Month; empty means Shift.
	Dates Dates
	// Allow says which fields leave; the zero value is [Default].
	Allow AllowList
}

// Recipient pseudonymises for one recipient. It is safe for concurrent use.
type Recipient struct {
	Settings
	rules rules
	space uuid.UUID
}

const (
	minSecret = 32
	ownSystem = "https://enbloc.example/fhir/sid/recipient/"
)

var (
	nameForm   = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)
	systemForm = regexp.MustCompile(`^https?://[A-Za-z0-9./~_-]{1,200}$`)
)

// New checks the settings.
func New(s Settings) (*Recipient, error) {
	s.System = strings.TrimRight(cmp.Or(s.System, ownSystem+s.Name), "/")
	s.Dates = cmp.Or(s.Dates, Shift)
	switch {
	case !nameForm.MatchString(s.Name):
		return nil, errors.New("the recipient needs a name of 1 to 40 lower-case letters, digits and hyphens")
	case len(s.Secret) < minSecret:
		return nil, fmt.Errorf("the recipient's secret is shorter than %d bytes: make one with: openssl rand -hex 32", minSecret)
	case !systemForm.MatchString(s.System):
		return nil, errors.New("the recipient's system is not a URL such as https://registry.example/sid")
	case s.Dates != Shift && s.Dates != Month:
		return nil, fmt.Errorf("%q is no way to treat dates: use %s or %s", s.Dates, Shift, Month)
	}
	if s.Allow.isZero() {
		s.Allow = Default()
	}
	rules, err := s.Allow.rules()
	if err != nil {
		return nil, fmt.Errorf("the recipient's allow-list: %w", err)
	}
	r := &Recipient{Settings: s, rules: rules}
	r.space = uuid.NewSHA1(uuid.NameSpaceURL, []byte(r.RoleKeySystem()))
	return r, nil
}

// PatientSystem, CaseKeySystem and RoleKeySystem are the systems of what the
// recipient gets in place of the hospital's identifiers.
func (r *Recipient) PatientSystem() string { return r.System + "/patient" }

// CaseKeySystem is that of the keys of cases.
func (r *Recipient) CaseKeySystem() string { return r.System + "/case-key" }

// RoleKeySystem is that of the keys of resources.
func (r *Recipient) RoleKeySystem() string { return r.System + "/role-key" }

// Apply makes the graph that the recipient may have. The graph that comes in is
// left as it is. CaseKey, Sequence, Roles and Pointers stay: they are for the
// sender, and [graph.Graph.Outside] says how the case is called on the target.
func (r *Recipient) Apply(g graph.Graph) (graph.Graph, error) { return r.apply(g, nil) }

func (r *Recipient) apply(g graph.Graph, note func(Field)) (graph.Graph, error) {
	w, err := r.newWork(g, note)
	if err != nil {
		return graph.Graph{}, fmt.Errorf("pseudonymising: %w", err)
	}
	out := graph.Graph{CaseKey: g.CaseKey, Sequence: g.Sequence, Outside: graph.Names{
		CaseKey: r.CaseKey(g.CaseKey), CaseKeySystem: r.CaseKeySystem(), RoleKeySystem: r.RoleKeySystem()}}
	var bodies []*model.Object
	for i, res := range g.Resources {
		body := w.resource(res, w.bodies[i])
		if body == nil {
			continue
		}
		raw, err := body.JSON()
		if err != nil {
			return graph.Graph{}, fmt.Errorf("pseudonymising %s: %w", res.Role, err)
		}
		key := r.RoleKey(res.Key)
		bodies = append(bodies, body)
		out.Resources = append(out.Resources, graph.Resource{Role: res.Role, Key: key, UUID: r.uuid(key), Type: res.Type, Body: raw,
			SearchBy: res.SearchBy, Shared: res.Shared, Immutable: res.Immutable, Pointers: res.Pointers})
	}
	if len(out.Resources) == 0 {
		return graph.Graph{}, errors.New("pseudonymising: the allow-list leaves nothing of the case")
	}
	return out, r.check(out, bodies)
}

// work is one graph on its way.
type work struct {
	*Recipient
	names  graph.Names
	days   int
	bodies []*model.Object
	// kept are the resources that leave, by their reference, with the new one.
	kept map[string]string
	note func(Field)
	role string // of the resource at hand
	kind string
}

// newWork finds the patient and decides which resources leave, before any is
// written: a reference to what stays behind has to go.
func (r *Recipient) newWork(g graph.Graph, note func(Field)) (*work, error) {
	w := &work{Recipient: r, names: g.Named(), note: note, kept: make(map[string]string, len(g.Resources))}
	patient := ""
	for _, res := range g.Resources {
		body, err := model.ParseObject(res.Body)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", res.Role, err)
		}
		w.bodies = append(w.bodies, body)
		if token := patientOf(body); token != "" {
			if patient != "" && token != patient {
				return nil, errors.New("the case names two patients")
			}
			patient = token
		}
		if w.leaves(res.Type, body) {
			w.kept[res.Reference()] = "urn:uuid:" + r.uuid(r.RoleKey(res.Key))
		}
	}
	if patient == "" {
		return nil, errors.New("the case names no patient")
	}
	w.days = r.offset(patient)
	return w, nil
}

// leaves reports whether a resource leaves at all: its type is on the list, and
// of what R4 requires nothing is missing that makes no sense masked.
func (w *work) leaves(kind string, body *model.Object) bool {
	if _, ok := w.rules.types[kind]; !ok || body.Get("modifierExtension") != nil {
		return false // what a modifier says cannot leave, and without it the rest is wrong
	}
	if kind != "Observation" {
		return true
	}
	code, ok := body.Get("code").(*model.Object)
	return ok && w.rules.kind(kind, "code") == Concept && len(w.codings(code, nil)) > 0
}

// resource writes one resource, or nil when it stays behind.
func (w *work) resource(res graph.Resource, body *model.Object) *model.Object {
	w.role, w.kind = res.Role, res.Type
	if w.kept[res.Reference()] == "" {
		reason := TypeNotListed
		if _, ok := w.rules.types[res.Type]; ok {
			reason = NothingLeft
		}
		w.stays("", body, reason)
		return nil
	}
	out := &model.Object{}
	out.Set("resourceType", res.Type)
	out.Set("meta", w.meta(body))
	w.members(out, "", body)
	if !w.complete(out, body) {
		return nil
	}
	return out
}
