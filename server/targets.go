package server

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/server/delivery"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// targetItem is one place that records go to.
type targetItem struct {
	Name string        `json:"name"`
	Rung delivery.Rung `json:"rung"`
	// Stepped is set while the target is written by a lower rung than it was set to.
	Stepped    *steppedItem `json:"stepped_down,omitempty"`
	MaxEntries int          `json:"max_entries,omitempty"`
	// Serves is patients or test; empty: anybody's.
	Serves  delivery.Audience     `json:"serves,omitempty"`
	Circuit delivery.CircuitState `json:"circuit"`
	// Until is when the target is called again.
	Until     *time.Time     `json:"rests_until,omitempty"`
	Preflight *preflightItem `json:"preflight,omitempty"`
	Kept      *keptItem      `json:"kept,omitempty"`
}

// keptItem is the preflight that a person kept, by which the target is written
// unless its rung was set.
type keptItem struct {
	Checked time.Time `json:"checked_at"`
	Proven  bool      `json:"proven"`
	Rung    int       `json:"rung"`
}

// steppedItem says since when a target refuses its rung.
type steppedItem struct {
	From   int       `json:"from"`
	Status int       `json:"http_status"`
	Since  time.Time `json:"since"`
}

// preflightItem is what the last preflight found, in short: that of the running
// service, or that which a person kept since.
type preflightItem struct {
	Checked        time.Time `json:"checked_at"`
	Usable         bool      `json:"usable"`
	Proven         bool      `json:"proven"`
	Rung           int       `json:"rung"`
	CapabilityHash string    `json:"capability_hash,omitempty"`
	Sentence       string    `json:"sentence"`
	// Drifted is true while the target is not as it was accepted.
	Drifted bool `json:"drifted"`
}

func (s *Server) listTargets(c *gin.Context) {
	items := []targetItem{}
	for _, t := range s.o.Delivery.TargetStates() {
		item := targetItem{Name: t.Name, Rung: t.Rung, Serves: t.Serves, Circuit: t.Circuit, MaxEntries: t.MaxEntries}
		if t.Step != nil {
			item.Stepped = &steppedItem{t.Step.From.Number, t.Step.Status, t.Step.At.UTC()}
		}
		if !t.Until.IsZero() {
			until := t.Until.UTC()
			item.Until = &until
		}
		var err error
		if item.Preflight, item.Kept, err = s.preflights(c.Request.Context(), t.Name); err != nil {
			s.fail(c, err)
			return
		}
		items = append(items, item)
	}
	write(c, http.StatusOK, mediaJSON, map[string]any{"targets": items})
}

// preflights are the last one of a target and the one that was kept; nil where
// there is none. What is kept takes the readings before it away.
func (s *Server) preflights(ctx context.Context, name string) (last *preflightItem, kept *keptItem, err error) {
	p, err := s.o.Store.Preflight(ctx, name)
	if err == nil {
		if last, err = inShort(p); err != nil {
			return nil, nil, err
		}
		kept = &keptItem{last.Checked, last.Proven, last.Rung}
	} else if !fault.Is(err, fault.NotFound) {
		return nil, nil, err
	}
	p, err = s.o.Store.Reading(ctx, name, store.LastReading)
	if fault.Is(err, fault.NotFound) {
		return last, kept, nil
	}
	if err == nil {
		last, err = inShort(p)
	}
	return last, kept, err
}

func inShort(p store.Preflight) (*preflightItem, error) {
	var document struct {
		Proven   bool              `json:"proven"`
		Sentence string            `json:"sentence"`
		Drift    []json.RawMessage `json:"drift"`
	}
	if err := json.Unmarshal(p.Document, &document); err != nil {
		return nil, fault.Wrap("reading stored preflight", fault.Internal, err)
	}
	return &preflightItem{p.Checked, p.Usable, document.Proven, p.Rung, p.CapabilityHash, document.Sentence, len(document.Drift) > 0}, nil
}

// steppedDown counts the targets that refuse the rung they were set to.
func (s *Server) steppedDown() int {
	n := 0
	for _, t := range s.o.Delivery.TargetStates() {
		if t.Step != nil {
			n++
		}
	}
	return n
}

// circuits counts the targets by the state of their circuit. Readiness is asked
// without a token, so it names none.
func (s *Server) circuits() map[delivery.CircuitState]int {
	counts := map[delivery.CircuitState]int{}
	for _, state := range delivery.CircuitStates() {
		counts[state] = 0
	}
	for _, t := range s.o.Delivery.TargetStates() {
		counts[t.Circuit]++
	}
	return counts
}
