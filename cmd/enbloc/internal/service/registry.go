package service

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/server/consent"
	"enbloc/server/delivery"
	"enbloc/server/fault"
	"enbloc/server/intake"
)

// target is a recipient as a target: cases are rendered for it by way of
// the allow-list, and its gate asks for consent. in is filled before anything is
// delivered.
func (r *Registry) target(ctx context.Context, version string, in **intake.Intake) (delivery.Target, error) {
	c, err := r.config()
	if err != nil {
		return delivery.Target{}, err
	}
	t, err := c.DeliveryTarget(ctx, version)
	if err != nil {
		return delivery.Target{}, fmt.Errorf("the recipient %s: %w", r.Name, err)
	}
	t.Gate = r.gate(in, r.Consent)
	t.Withdraw = r.Pseudo.Void
	t.Render = func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
		g, err := neutral(ctx, *in, caseKey, sequence)
		if err != nil {
			return graph.Graph{}, err
		}
		out, err := r.Pseudo.Apply(g)
		return out, fault.Wrap("rendering for a registry", fault.Invalid, err)
	}
	return t, nil
}

// neutral is a state of a case without the dressing of the hospital's target.
func neutral(ctx context.Context, in *intake.Intake, caseKey string, sequence int) (graph.Graph, error) {
	if name := in.Pipeline.Dress.Name; name == "" || name == dress.Base {
		return in.Graph(ctx, caseKey, sequence)
	}
	return in.GraphBy(ctx, mapping.Pipeline{Book: in.Pipeline.Book, FHIR: in.Pipeline.FHIR}, caseKey, sequence)
}

// gate lets a state pass when its author stands by it and the patient may be sent.
func (r *Registry) gate(in **intake.Intake, source consent.Source) delivery.Gate {
	return func(ctx context.Context, caseKey string, sequence int) (delivery.Passage, error) {
		merged, err := (*in).Merged(ctx, caseKey, sequence)
		if err != nil {
			return "", err
		}
		return passage(ctx, merged, source)
	}
}

func passage(ctx context.Context, merged report.Report, source consent.Source) (delivery.Passage, error) {
	if merged.Status == report.Withdrawn {
		return delivery.TakeBack, nil
	}
	allowed, err := source.Allows(ctx, merged.Patient.Identifier)
	switch {
	case err != nil:
		return "", fault.Wrap("asking whether a case may be sent", fault.Unavailable, err)
	case !allowed:
		return delivery.Withhold, nil
	}
	return delivery.Pass, nil
}

// reviewer asks again, from time to time, for the cases that stand at a recipient
// or were withheld from it.
type reviewer struct {
	registry *Registry
	target   string
	delivery *delivery.Service
	in       **intake.Intake
	log      *slog.Logger
}

// run reviews at once and then at every tick, until ctx ends.
func (v reviewer) run(ctx context.Context) {
	tick := time.NewTicker(v.registry.Every)
	defer tick.Stop()
	for {
		n, err := v.review(ctx)
		switch {
		case err != nil && ctx.Err() == nil:
			v.log.ErrorContext(ctx, "reviewing consent: nothing is sent or taken back until it can be asked", "target", v.target, "error", err)
		case n > 0:
			v.log.InfoContext(ctx, "consent has changed", "target", v.target, "cases", n)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// review reads a list once for all cases; before anything is sent it is read anew.
func (v reviewer) review(ctx context.Context) (int, error) {
	source := v.registry.Consent
	if list, ok := source.(consent.File); ok {
		var err error
		if source, err = list.Snapshot(); err != nil {
			return 0, err
		}
	}
	return v.delivery.ReviewConsent(ctx, v.target, v.registry.gate(v.in, source))
}
