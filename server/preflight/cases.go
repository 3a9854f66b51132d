package preflight

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/delivery"
	"enbloc/server/target/fhirserver"
)

// Trial is how whole invented cases fared that were mapped and sent as the
// service would.
type Trial struct {
	// Cases were tried; Deliverable of them the target takes.
	Cases       int `json:"cases"`
	Deliverable int `json:"deliverable"`
	// WithDifferences of the deliverable stand otherwise than they were sent.
	WithDifferences int `json:"with_differences"`
	// By is how it was found out: ByWriting or ByValidating.
	By string `json:"by"`
	// Refusals are what stood in the way, the most frequent first.
	Refusals []Refusal `json:"refusals"`
}

// DefaultCases is how many cases are tried where nobody says: enough to meet
// most of what one report in ten has (common practice, no source).
const DefaultCases = 20

// How a trial was made.
const (
	// ByWriting: each case was delivered and taken back.
	ByWriting = "writing"
	// ByValidating: the target was asked about each resource and stored none.
	ByValidating = "validating"
)

const (
	// trialSeed makes the same cases for every target, so that reports compare.
	trialSeed = 20
	// trialTime bounds the trial; what was not tried by then is not counted.
	trialTime = 2 * time.Minute
	// takingBack bounds the removal of one case.
	takingBack = 30 * time.Second
	// shortBusy is the longest that a target may ask to wait within the trial.
	shortBusy  = 5 * time.Second
	busyTrials = 3
)

// none reports whether cases were tried and the target takes not one of them:
// whatever it does with single resources, nothing can be delivered.
func (t *Trial) none() bool { return t != nil && t.Cases > 0 && t.Deliverable == 0 }

// phrase is the part of a sentence that says it.
func (t Trial) phrase() string {
	return fmt.Sprintf("of %d invented cases %d can be delivered", t.Cases, t.Deliverable)
}

// cases sends whole cases by the rung that was found. A case has about a hundred
// resources: where they cannot be deleted again, the target is only asked.
func (r *run) cases(ctx context.Context) {
	if r.Cases <= 0 {
		return
	}
	r.timed(GroupCases, "cases", "Whole invented cases", func() (Status, string, string) {
		rung, first, _ := r.byFacts()
		var try func(context.Context, graph.Graph) (fate, bool)
		trial := &Trial{Refusals: []Refusal{}}
		switch {
		case r.facts.wrongPatients || rung == delivery.RungFile:
			return Skip, "Not tried: nothing can be written.", ""
		case r.deletesAgain(ctx):
			trial.By, try = ByWriting, r.byWriting(rung, first)
		case r.facts.validates:
			trial.By, try = ByValidating, r.byValidating
		default:
			return Skip, "Not tried: the server does not delete, so thousands of resources would stay, and it cannot be asked by $validate.",
				"Have delete allowed on the test system while it is checked; nothing else needs it."
		}
		pipeline := r.pipeline()
		deadline, cancel := context.WithTimeout(ctx, trialTime)
		defer cancel()
		all := tally{}
		for c := range sample.Cohort(r.Cases, trialSeed) {
			g, err := pipeline.Map(r.asTestPatient(c.Merged()), 1)
			if err != nil {
				return Fail, "An invented case could not be mapped with these settings.", "Check the settings of codes and dressing: enbloc map shows what is wrong."
			}
			if tag(&g, r.report.Run) != nil {
				continue // what was mapped a moment ago is JSON
			}
			f, done := try(deadline, g)
			if !done {
				break // no time is left: it says nothing about the case
			}
			trial.count(f)
			all.add(f.refusals)
		}
		trial.Refusals = all.list()
		if trial.Cases == 0 {
			return Skip, "Not one case was through in " + trialTime.String() + ".", "Ask how fast the server is meant to be."
		}
		r.report.Trial = trial
		return trial.judge(r.Cases)
	})
}

func (t *Trial) count(f fate) {
	t.Cases++
	if len(f.refusals) == 0 {
		t.Deliverable++
		if f.differs {
			t.WithDifferences++
		}
	}
}

func (t *Trial) judge(wanted int) (Status, string, string) {
	found := fmt.Sprintf("Of %d invented cases %d can be delivered", t.Cases, t.Deliverable)
	found += map[string]string{ByWriting: "; they were written and taken back.", ByValidating: ", as far as $validate says; nothing was written."}[t.By]
	if t.Cases < wanted {
		found += fmt.Sprintf(" For %d more there was no time.", wanted-t.Cases)
	}
	if t.WithDifferences > 0 {
		found += fmt.Sprintf(" %d stand with differences.", t.WithDifferences)
	}
	for i, one := range t.Refusals {
		if i == 3 {
			found += fmt.Sprintf(" And %d more.", len(t.Refusals)-i)
			break
		}
		found += " " + one.sentence()
	}
	switch {
	case t.Deliverable == 0:
		return Fail, found, "Ask the vendor about what is refused, with the list of this report."
	case t.Deliverable < t.Cases || t.WithDifferences > 0:
		return Warn, found, "Reports with such content wait for a person. Ask the vendor about it, with the list of this report."
	}
	return Pass, found, ""
}

// fate is what became of one case; without refusals it can be delivered.
type fate struct {
	refusals []Refusal
	differs  bool
}

// pipeline maps under a key of the run, so that no key of a case is one that the
// site has or will have, or that an earlier run left behind.
func (r *run) pipeline() mapping.Pipeline {
	key := []byte("HTEST preflight " + r.report.Run)
	if r.Pipeline == nil {
		return mapping.New(key)
	}
	p := *r.Pipeline
	p.FHIR.Key = key
	return p
}

// asTestPatient files a case under the test patient, if the target has one. Of
// what age that is, the case does not know.
func (r *run) asTestPatient(rep report.Report) report.Report {
	if r.facts.testPatient {
		system, value, _ := strings.Cut(r.TestPatient, "|")
		rep.Patient = report.Patient{Identifier: report.Identifier{System: system, Value: value}}
	}
	return rep
}

// tag puts the run's tag on every resource of a graph, as every canary has it.
func tag(g *graph.Graph, run string) error {
	g.Resources = slices.Clone(g.Resources)
	for i := range g.Resources {
		tree, err := fhirserver.DecodeTree[map[string]any](g.Resources[i].Body)
		if err != nil {
			return err
		}
		meta, _ := tree["meta"].(map[string]any)
		if meta == nil {
			meta = map[string]any{}
		}
		tags, _ := meta["tag"].([]any)
		meta["tag"] = append(tags, map[string]any{"system": System, "code": run})
		tree["meta"] = meta
		if g.Resources[i].Body, err = fhirserver.EncodeTree(tree); err != nil {
			return err
		}
	}
	return nil
}
