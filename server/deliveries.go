package server

import (
	"context"
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
	"enbloc/server/store"
)

// deliveryItem is one state of a case on its way to one target.
type deliveryItem struct {
	ID       string              `json:"id"`
	Case     string              `json:"case"`
	Sequence int                 `json:"sequence"`
	Target   string              `json:"target"`
	State    store.DeliveryState `json:"state"`
	// Reason is a fixed word, Explanation says it in a sentence.
	Reason      string          `json:"reason,omitempty"`
	Explanation string          `json:"explanation,omitempty"`
	Details     json.RawMessage `json:"details,omitempty"`
	NextAttempt *time.Time      `json:"next_attempt_at,omitempty"`
	Created     time.Time       `json:"created_at"`
	Updated     time.Time       `json:"updated_at"`
	Attempts    []attemptItem   `json:"attempts"`
}

type attemptItem struct {
	Number      int       `json:"number"`
	Started     time.Time `json:"started_at"`
	DurationMs  int64     `json:"duration_ms"`
	HTTPStatus  int       `json:"http_status,omitempty"` // 0, left out: no answer came
	Class       string    `json:"class"`
	Reason      string    `json:"reason,omitempty"`
	Diagnostics string    `json:"diagnostics,omitempty"`
	RequestID   string    `json:"request_id,omitempty"`
}

func (s *Server) listDeliveries(c *gin.Context) {
	p, err := pageOf(c, "state", "case", "target")
	if err != nil {
		s.fail(c, err)
		return
	}
	q, err := deliveryQuery(p, s.o.Tenant)
	if err != nil {
		s.fail(c, err)
		return
	}
	ctx := c.Request.Context()
	rows, err := s.o.Store.Deliveries(ctx, q)
	if err != nil {
		s.fail(c, err)
		return
	}
	items := make([]deliveryItem, len(rows))
	for i, row := range rows {
		if items[i], err = s.deliveryItem(ctx, row); err != nil {
			s.fail(c, err)
			return
		}
	}
	cursor := ""
	if len(rows) == p.limit {
		cursor = rows[len(rows)-1].ID
	}
	write(c, http.StatusOK, mediaJSON, map[string]any{"deliveries": items, "next": p.next("/deliveries", cursor)})
}

// targetNames are what a target can be called.
var targetNames = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

func deliveryQuery(p page, tenant string) (store.DeliveryQuery, error) {
	q := store.DeliveryQuery{Tenant: tenant, CaseKey: p.query.Get("case"), Target: p.query.Get("target"), After: p.after, Limit: p.limit}
	for _, text := range p.query["state"] {
		state := store.DeliveryState(text)
		if !slices.Contains(store.DeliveryStates(), state) {
			return q, fault.New(fault.Malformed, "The parameter state is no state of a delivery. The description at /openapi.json lists them.")
		}
		q.States = append(q.States, state)
	}
	if q.CaseKey != "" && !caseKeys.MatchString(q.CaseKey) {
		return q, fault.New(fault.Malformed, "The parameter case is not the key of a case.")
	}
	if q.Target != "" && !targetNames.MatchString(q.Target) {
		return q, fault.New(fault.Malformed, "The parameter target is not the name of a target.")
	}
	return q, nil
}

func (s *Server) deliveryItem(ctx context.Context, d store.Delivery) (deliveryItem, error) {
	item := deliveryItem{ID: d.ID, Case: d.CaseKey, Sequence: d.Sequence, Target: d.Target, State: d.State, Reason: d.Reason,
		Explanation: d.Explanation, Created: d.Created, Updated: d.Updated, Attempts: []attemptItem{}}
	if len(d.Details) > 0 && string(d.Details) != "{}" {
		item.Details = d.Details
	}
	if d.State == store.Waiting || d.State == store.Retrying || d.State == store.ParkedDelivery {
		item.NextAttempt = &d.NextAttempt
	}
	attempts, err := s.o.Store.Attempts(ctx, d.ID)
	for _, a := range attempts {
		item.Attempts = append(item.Attempts, attemptItem{a.Number, a.Started, a.Duration.Milliseconds(), a.HTTPStatus, a.Class, a.Reason, a.Diagnostics, a.RequestID})
	}
	return item, err
}

func (s *Server) resend(c *gin.Context) { s.change(c, s.o.Delivery.Resend) }

func (s *Server) skip(c *gin.Context) { s.change(c, s.o.Delivery.Skip) }

// deliveryIDs are what a row can be called; nothing else is looked up.
var deliveryIDs = regexp.MustCompile(`^[A-Za-z0-9-]{1,64}$`)

var errNoDelivery = fault.New(fault.NotFound, "There is no such delivery. The list is at /deliveries.")

// change does something to one row and answers with the row.
func (s *Server) change(c *gin.Context, do func(context.Context, string) error) {
	id, ctx := c.Param("delivery"), c.Request.Context()
	if !deliveryIDs.MatchString(id) {
		s.fail(c, errNoDelivery)
		return
	}
	before, err := s.o.Store.Delivery(ctx, id)
	if err == nil && before.Tenant != s.o.Tenant {
		err = errNoDelivery
	}
	if err != nil {
		s.fail(c, err)
		return
	}
	if err := do(ctx, id); err != nil {
		s.fail(c, err)
		return
	}
	row, err := s.o.Store.Delivery(ctx, id)
	if err != nil {
		s.fail(c, err)
		return
	}
	item, err := s.deliveryItem(ctx, row)
	if err != nil {
		s.fail(c, err)
		return
	}
	write(c, http.StatusAccepted, mediaJSON, item)
}
