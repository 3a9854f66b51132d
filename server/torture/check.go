package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"runtime"

	"golang.org/x/sync/errgroup"

	"enbloc/mapping"
	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/intake"
	"enbloc/server/internal/child"
	"enbloc/server/practice"
	"enbloc/server/store"
)

// verdict is what one run came to.
type verdict struct {
	Store      string  `json:"store"`
	Seed       uint64  `json:"seed"`
	Cases      int     `json:"cases"`
	Documents  int     `json:"documents"`
	Kills      int     `json:"kills"`
	HAPIKills  int     `json:"hapi_kills,omitempty"`
	FaultShare float64 `json:"fault_share"`
	Faults     int     `json:"faults"`
	Minutes    float64 `json:"minutes"`

	Rung     int     `json:"rung,omitempty"`
	Replicas []share `json:"replicas"`

	FaultsByKind map[practice.FaultKind]int `json:"faults_by_kind,omitempty"`

	Writes     int `json:"writes"`                   // of the program, in the receiver's journal
	LedgerRows int `json:"ledger_rows"`              // each compared with what stands
	Partial    int `json:"partial_writes,omitempty"` // first versions that left out what did not stand yet
	SharedRows int `json:"shared_rows"`              // those among them that serve many cases

	// What must be 0.
	Lost       int `json:"lost"`
	Doubled    int `json:"doubled"`
	Disordered int `json:"disordered"`
	Repeated   int `json:"repeated"`
	Foreign    int `json:"writes_of_no_state"`
	Unverified int `json:"ledger_rows_other_than_what_stands"`
	Unsettled  int `json:"rows_not_delivered"`

	Figures child.Figures `json:"figures"`

	// Examples name the first findings, without content.
	Examples []string `json:"examples,omitempty"`
}

// share is what one replica did.
type share struct {
	Accepted  int `json:"accepted"`  // documents
	Delivered int `json:"delivered"` // rows, without those just before a kill
}

// Good reports whether nothing at all was found.
func (v verdict) Good() bool {
	return v.Lost+v.Doubled+v.Disordered+v.Repeated+v.Foreign+v.Unverified+v.Unsettled == 0
}

func (v *verdict) countFaults(drawn map[practice.FaultKind]int) {
	v.FaultsByKind = drawn
	for _, n := range drawn {
		v.Faults += n
	}
}

const mostExamples = 20

func (v *verdict) note(counter *int, format string, args ...any) {
	*counter++
	if len(v.Examples) < mostExamples {
		v.Examples = append(v.Examples, fmt.Sprintf(format, args...))
	}
}

// check holds what stands at the receiver, and how it came there, against the
// documents.
func check(ctx context.Context, v *verdict, st *store.Store, journal []practice.Write, version string, cases []*sent) error {
	pipeline := mapping.Pipeline{Book: assess.DefaultBook(), FHIR: fhir.Options{Key: key, SoftwareVersion: version}}
	in := intake.New(intake.Options{Store: st, Pipeline: pipeline})
	s, err := survey(journal)
	if err != nil {
		return err
	}
	v.Writes = s.writes
	for roleKey, places := range s.places {
		if len(places) > 1 {
			v.note(&v.Doubled, "%s stands %d times", roleKey, len(places))
		}
	}
	if err := v.checkCases(ctx, st, in, s, cases); err != nil {
		return err
	}
	v.checkRepeated(s, s.serving)
	shared, err := st.SharedLedger(ctx, "torture")
	v.checkShared(s, shared)
	return err
}

// checkCases checks every case, as many at once as there are processors.
func (v *verdict) checkCases(ctx context.Context, st *store.Store, in *intake.Intake, s surveyed, cases []*sent) error {
	parts := make([]verdict, runtime.GOMAXPROCS(0))
	all, ctx := errgroup.WithContext(ctx)
	for n := range parts {
		all.Go(func() error {
			part := &parts[n]
			part.Rung = v.Rung
			for i := n; i < len(cases); i += len(parts) {
				c := cases[i]
				part.Documents += c.accepted
				if c.accepted != len(c.documents) || c.key == "" {
					part.note(&part.Lost, "case %d: %d of %d documents accepted", i, c.accepted, len(c.documents))
					continue
				}
				if err := part.checkCase(ctx, st, in, s.remembering(), c); err != nil {
					return fmt.Errorf("checking case %d: %w", i, err)
				}
			}
			return nil
		})
	}
	err := all.Wait()
	for _, part := range parts {
		v.add(part)
	}
	return err
}

// add counts what another has found of other cases.
func (v *verdict) add(o verdict) {
	v.Documents += o.Documents
	v.LedgerRows += o.LedgerRows
	v.Partial += o.Partial
	v.Lost += o.Lost
	v.Doubled += o.Doubled
	v.Disordered += o.Disordered
	v.Repeated += o.Repeated
	v.Foreign += o.Foreign
	v.Unverified += o.Unverified
	v.Unsettled += o.Unsettled
	v.Examples = append(v.Examples, o.Examples[:min(len(o.Examples), mostExamples-min(len(v.Examples), mostExamples))]...)
}

// checkCase checks one case: its rows, its last state, the order in which its
// states came, and its ledger.
func (v *verdict) checkCase(ctx context.Context, st *store.Store, in *intake.Intake, s surveyed, c *sent) error {
	stored, err := st.Case(ctx, c.key)
	if err != nil {
		return err
	}
	if stored.Sequence < c.sequence || stored.Sequence != c.states() {
		v.note(&v.Lost, "%s: state %d was promised, %d must be, %d is stored", c.key, c.sequence, c.states(), stored.Sequence)
		return nil
	}
	if err := v.checkDocuments(ctx, st, c); err != nil {
		return err
	}
	rows, err := st.Deliveries(ctx, store.DeliveryQuery{CaseKey: c.key, Limit: 500})
	if err != nil {
		return err
	}
	if len(rows) != stored.Sequence {
		v.note(&v.Lost, "%s: %d rows for %d states", c.key, len(rows), stored.Sequence)
	}
	for _, d := range rows {
		if d.State != store.Delivered && d.State != store.Superseded {
			v.note(&v.Unsettled, "%s state %d: %s %s %s", c.key, d.Sequence, d.State, d.Reason, d.Details)
		}
	}
	var states []graph.Graph
	for sequence := 1; sequence <= stored.Sequence; sequence++ {
		g, err := in.Graph(ctx, c.key, sequence)
		if err != nil {
			return err
		}
		states = append(states, g)
	}
	expected, err := expect(states)
	if err != nil {
		return err
	}
	v.checkStanding(s, c.key, expected)
	v.checkOrder(s, c.key, expected)
	v.checkRepeated(s, s.journal[c.key])
	return v.checkLedger(ctx, st, s, c.key)
}

// checkStanding demands that each resource of the last state stands as it.
func (v *verdict) checkStanding(s surveyed, caseKey string, e expected) {
	for roleKey, want := range e.last() {
		places := s.places[roleKey]
		if len(places) == 0 {
			v.note(&v.Lost, "%s: %s does not stand", caseKey, e.role[roleKey])
			continue
		}
		if got := s.plain(s.byPlace[places[0]]); want != "" && got != want {
			v.note(&v.Lost, "%s: %s stands other than in the last state", caseKey, e.role[roleKey])
		}
	}
}

// checkOrder walks the journal of a case: each write must belong to a state,
// and the states must never go back.
func (v *verdict) checkOrder(s surveyed, caseKey string, e expected) {
	at, stands := 1, map[string]bool{}
	for _, w := range s.journal[caseKey] {
		roleKey, form := s.names[w.Type+"/"+w.ID], s.plain(w.Body)
		sequence := e.stateOf(roleKey, form, at)
		if sequence == 0 && w.Version == 1 && v.Rung == delivery.RungSingle {
			if sequence = e.partialOf(roleKey, form, at, stands); sequence > 0 {
				v.Partial++
			}
		}
		stands[roleKey] = true
		switch {
		case sequence >= at:
			at = sequence
		case e.stateOf(roleKey, form, 1) > 0:
			v.note(&v.Disordered, "%s: version %d of %s belongs before state %d", caseKey, w.Version, e.role[roleKey], at)
		default:
			v.note(&v.Foreign, "%s: version %d of %s %s is of no state", caseKey, w.Version, w.Type, e.role[roleKey])
		}
	}
}

// checkLedger compares every ledger row of a case with what stands.
func (v *verdict) checkLedger(ctx context.Context, st *store.Store, s surveyed, caseKey string) error {
	rows, _, err := st.Ledger(ctx, "torture", caseKey)
	for _, e := range rows {
		v.checkRow(s, e)
	}
	return err
}

// checkShared compares what serves many cases. Every place under a key without a
// case must be among the rows; and a run without any has proved nothing.
func (v *verdict) checkShared(s surveyed, rows []store.LedgerEntry) {
	v.SharedRows = len(rows)
	recorded := map[string]bool{}
	for _, e := range rows {
		v.checkRow(s, e)
		recorded[e.Type+"/"+e.ServerID] = true
	}
	for _, place := range s.shared {
		if !recorded[place] {
			v.note(&v.Unverified, "%s serves many cases and is not recorded", place)
		}
	}
	if len(rows) == 0 {
		v.note(&v.Unverified, "nothing that serves many cases is recorded")
	}
}

func (v *verdict) checkRow(s surveyed, e store.LedgerEntry) {
	v.LedgerRows++
	stands, ok := s.byPlace[e.Type+"/"+e.ServerID]
	if !ok {
		v.note(&v.Unverified, "%s: %s/%s does not stand", e.CaseKey, e.Type, e.ServerID)
		return
	}
	var meta struct {
		Meta struct{ VersionID string }
	}
	if err := json.Unmarshal(stands, &meta); err != nil || meta.Meta.VersionID != e.Version {
		v.note(&v.Unverified, "%s: %s is recorded at version %s, stands at %s", e.CaseKey, e.Role, e.Version, meta.Meta.VersionID)
		return
	}
	if s.plain(e.Body) != s.plain(stands) {
		v.note(&v.Unverified, "%s: %s is recorded with other content than stands", e.CaseKey, e.Role)
	}
	if s.names[e.Type+"/"+e.ServerID] != e.RoleKey {
		v.note(&v.Unverified, "%s: %s is recorded under another key", e.CaseKey, e.Role)
	}
}

func decode(raw json.RawMessage) (map[string]any, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var tree map[string]any
	err := d.Decode(&tree)
	return tree, err
}
