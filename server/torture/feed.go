package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/internal/child"
)

// sent is one case: its documents in the order of sending, and the highest
// state that an answer of 202 promised.
type sent struct {
	documents []child.Document
	key       string
	sequence  int
	accepted  int
}

// makeCases invents the cases and makes their patients known.
func makeCases(ctx context.Context, n int, seed uint64, place hospital) ([]*sent, error) {
	d := dice(seed, 1)
	known := map[report.Identifier]bool{}
	var all []*sent
	for c := range sample.Cohort(n, seed) {
		id := c.Report.Patient.Identifier
		if !known[id] {
			known[id] = true
			if err := place.admit(ctx, id); err != nil {
				return nil, err
			}
		}
		s := &sent{}
		if err := s.plan(c, d.Float64(), d.Float64()); err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}

// testLabel marks invented data (http://terminology.hl7.org/CodeSystem/v3-ActReason).
func testLabel() map[string]any {
	return map[string]any{"meta": map[string]any{"security": []any{map[string]any{
		"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}}}}
}

// plan orders the documents of a case: the report, its parts, and in three of
// ten cases a changed report, of which one in ten is withdrawn. One case in ten
// begins with a part, which waits for its report.
func (s *sent) plan(c sample.Case, first, change float64) error {
	if err := s.add(reports, c.Report); err != nil {
		return err
	}
	if !child.HasParts(c) {
		return nil
	}
	parts, err := child.Parts(c)
	if err != nil {
		return err
	}
	s.documents = append(s.documents, parts...)
	if first < 0.1 && len(s.documents) > 1 {
		s.documents[0], s.documents[1] = s.documents[1], s.documents[0]
	}
	if change >= 0.3 {
		return nil
	}
	next := c.Report
	next.Revision++
	next.Status, next.StatusReason = report.Amended, "HTEST: a word was changed."
	if change < 0.03 {
		next.Status, next.StatusReason = report.Withdrawn, "HTEST: the wrong patient."
	}
	return s.add(reports, next)
}

func (s *sent) add(path string, content any) error {
	d, err := child.NewDocument(path, content)
	s.documents = append(s.documents, d)
	return err
}

// feed sends every document of every case, each case by one sender in its
// order, as long as it takes until each is accepted.
func feed(ctx context.Context, c config, f fleet, cases []*sent, k *killer, m *child.Measure) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var next atomic.Int64
	var wait sync.WaitGroup
	for sender := range c.Senders {
		wait.Go(func() {
			d := &door{f, sender}
			for i := int(next.Add(1)) - 1; i < len(cases) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				for _, doc := range cases[i].documents {
					if err := cases[i].send(ctx, d, doc, m); err != nil {
						cancel(err)
						return
					}
					k.accepted()
				}
			}
		})
	}
	wait.Wait()
	return context.Cause(ctx)
}

// again is how long a sender waits before it sends the same once more.
const again = 50 * time.Millisecond

// send sends a document until it is accepted: the same bytes again after every
// broken connection, as a hospital's system does.
func (s *sent) send(ctx context.Context, d *door, doc child.Document, m *child.Measure) error {
	for {
		began := time.Now()
		status, body, err := d.ask(ctx, doc)
		switch {
		case err == nil && status == http.StatusAccepted:
			var receipt struct {
				Case     string `json:"case"`
				Sequence int    `json:"sequence"`
			}
			if err := json.Unmarshal(body, &receipt); err != nil {
				return fmt.Errorf("reading receipt: %w", err)
			}
			m.Accepted(time.Since(began))
			s.accepted++
			if receipt.Case != "" {
				s.key, s.sequence = receipt.Case, max(s.sequence, receipt.Sequence)
			}
			return nil
		case err == nil && status != http.StatusServiceUnavailable && status != http.StatusTooManyRequests:
			return fmt.Errorf("sending a document: answered %d: %s", status, body)
		}
		if err := child.Pause(ctx, again); err != nil {
			return err
		}
	}
}
