package demo

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"enbloc/cmd/enbloc/internal/client"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/server/store"
	"enbloc/testdata/cases"
)

// receipt is the service's answer to a document.
type receipt struct {
	Outcome  string           `json:"outcome"`
	Case     string           `json:"case"`
	Sequence int              `json:"sequence"`
	Revision int              `json:"revision"`
	Findings []report.Finding `json:"findings"`
}

// step is one document sent, and what came of it.
type step struct {
	document cases.Document
	status   int
	receipt  receipt
	refused  *client.Refusal
	delivery client.Delivery
	// Counted at the receiver: resources written for the first time, written
	// again, and of the case's others, left alone.
	created, updated, unchanged int
}

// played is one case after its last document.
type played struct {
	example    cases.Case
	key        string
	steps      []step
	rep        report.Report // the whole case, empty once withdrawn
	findings   []report.Finding
	withdrawn  bool
	assessment []assess.Result
}

// delivered reports whether every document that was accepted stands at the
// receiver, read back equal.
func (c played) delivered() bool {
	for _, s := range c.steps {
		if s.refused != nil || (s.receipt.Case != "" && !stands(s.delivery.State)) {
			return false
		}
	}
	return c.key != ""
}

// stands reports whether nothing more has to reach the receiver. A state that
// a later one overtook needs no sending of its own.
func stands(state string) bool {
	return state == string(store.Delivered) || state == string(store.Superseded)
}

// play sends the documents of a case in their order, each after the one before
// has been delivered, as in a hospital where days lie between them.
func (w *world) play(ctx context.Context, c cases.Case) (played, error) {
	p := played{example: c}
	for _, d := range c.Documents {
		s, err := w.send(ctx, d)
		if err != nil {
			return p, err
		}
		if s.receipt.Case != "" {
			p.key = s.receipt.Case
		}
		p.steps = append(p.steps, s)
	}
	if p.key == "" {
		return p, nil
	}
	return p, w.ask(ctx, &p)
}

// endpoints take the kinds of documents.
var endpoints = map[cases.Kind]string{cases.Report: "/cases", cases.Histology: "/histology", cases.Events: "/events"}

func (w *world) send(ctx context.Context, d cases.Document) (step, error) {
	s := step{document: d}
	before := len(w.receiver.Journal())
	var err error
	s.status, err = w.api.Post(ctx, endpoints[d.Kind], d.JSON, &s.receipt)
	if errors.As(err, &s.refused) {
		return s, nil
	}
	if err != nil || s.receipt.Case == "" {
		return s, err
	}
	if s.delivery, err = w.await(ctx, s.receipt); err != nil {
		return s, err
	}
	w.count(&s, before)
	return s, nil
}

// patience bounds the wait for one delivery, and glance is the pause between
// two looks at it.
const (
	patience = 20 * time.Second
	glance   = 10 * time.Millisecond
)

// await waits until the state is not on its way any more.
func (w *world) await(ctx context.Context, r receipt) (client.Delivery, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	var last client.Delivery
	for {
		rows, err := w.api.Deliveries(ctx, url.Values{"case": {r.Case}}, 0)
		if err != nil {
			return last, fmt.Errorf("state %d stands as %q, %s: %w", r.Sequence, last.State, last.Explanation, err)
		}
		for _, d := range rows {
			if d.Sequence == r.Sequence {
				last = d
			}
		}
		if settled(last.State) {
			return last, nil
		}
		select {
		case <-ctx.Done():
			return last, fmt.Errorf("state %d stands as %q, %s: %w", r.Sequence, last.State, last.Explanation, ctx.Err())
		case <-time.After(glance):
		}
	}
}

// settled reports whether waiting brings nothing more. A parked row would be
// tried again, but here nobody registers a patient meanwhile.
func settled(state string) bool {
	s := store.DeliveryState(state)
	return state != "" && (!s.Open() || s == store.ParkedDelivery)
}

// ask reads the whole case and what the rules say about it.
func (w *world) ask(ctx context.Context, p *played) error {
	var detail struct {
		Status   string           `json:"status"`
		Findings []report.Finding `json:"findings"`
		Report   *report.Report   `json:"report"`
	}
	if err := w.api.Get(ctx, "/cases/"+p.key, &detail); err != nil {
		return err
	}
	p.withdrawn, p.findings = detail.Status == string(report.Withdrawn), detail.Findings
	if detail.Report != nil {
		p.rep = *detail.Report
	}
	var answers struct {
		Results []assess.Result `json:"results"`
	}
	if err := w.api.Get(ctx, "/cases/"+p.key+"/assessment", &answers); err != nil {
		return err
	}
	p.assessment = answers.Results
	return nil
}
