package server

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/check"
	"enbloc/mapping/report"
	"enbloc/server/store"
)

// caseItem is a case as a list shows it: nothing of the patient.
type caseItem struct {
	Case       string            `json:"case"`
	Revision   int64             `json:"revision"`
	Status     string            `json:"status"`
	Sequence   int               `json:"sequence"`
	Received   time.Time         `json:"received_at"`
	Updated    time.Time         `json:"updated_at"`
	Summary    json.RawMessage   `json:"summary"`
	Deliveries []deliveryBrief   `json:"deliveries"`
	Links      map[string]string `json:"links"`
}

// deliveryBrief is how far one target has come with a case.
type deliveryBrief struct {
	Target   string              `json:"target"`
	Sequence int                 `json:"sequence"`
	State    store.DeliveryState `json:"state"`
	Reason   string              `json:"reason,omitempty"`
}

func (s *Server) item(ctx context.Context, c store.Case) (caseItem, error) {
	item := caseItem{Case: c.Key, Revision: c.Revision, Status: c.Status, Sequence: c.Sequence, Received: c.Created, Updated: c.Updated,
		Summary: c.Summary, Deliveries: []deliveryBrief{}, Links: map[string]string{
			"self": "/cases/" + c.Key, "assessment": "/cases/" + c.Key + "/assessment", "fhir": "/cases/" + c.Key + "/fhir",
			"deliveries": "/deliveries?case=" + c.Key,
		}}
	// The newest row of each target comes first and is the one that counts.
	rows, err := s.o.Store.Deliveries(ctx, store.DeliveryQuery{Tenant: c.Tenant, CaseKey: c.Key, Limit: defaultPage})
	seen := map[string]bool{}
	for _, d := range rows {
		if !seen[d.Target] {
			seen[d.Target] = true
			item.Deliveries = append(item.Deliveries, deliveryBrief{d.Target, d.Sequence, d.State, d.Reason})
		}
	}
	return item, err
}

func (s *Server) listCases(c *gin.Context) {
	p, err := pageOf(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	ctx := c.Request.Context()
	rows, cursor, err := s.o.Store.Cases(ctx, store.CaseQuery{Tenant: s.o.Tenant, After: p.after, Limit: p.limit})
	if err != nil {
		s.fail(c, err)
		return
	}
	items := make([]caseItem, len(rows))
	for i, row := range rows {
		if items[i], err = s.item(ctx, row); err != nil {
			s.fail(c, err)
			return
		}
	}
	write(c, http.StatusOK, mediaJSON, map[string]any{"cases": items, "next": p.next("/cases", cursor)})
}

// caseDetail is one case with its content.
type caseDetail struct {
	caseItem
	Documents []documentItem   `json:"documents"`
	Findings  []report.Finding `json:"findings"`
	// Report is the whole case, its parts joined; null once it is withdrawn.
	Report *report.Report `json:"report"`
}

// documentItem is one document of a case.
type documentItem struct {
	Kind     store.Kind `json:"kind"`
	Source   string     `json:"source_system"`
	Revision int64      `json:"revision"`
	Received time.Time  `json:"received_at"`
	// Counts is false for a revision that a newer one has replaced.
	Counts bool `json:"counts"`
}

// found loads the case that the URL names.
func (s *Server) found(c *gin.Context) (store.Case, error) {
	key, err := caseKey(c)
	if err != nil {
		return store.Case{}, err
	}
	found, err := s.o.Store.Case(c.Request.Context(), key)
	if err == nil && found.Tenant != s.o.Tenant {
		err = errNoCase
	}
	return found, err
}

func (s *Server) getCase(c *gin.Context) {
	found, err := s.found(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	if c.NegotiateFormat(mediaJSON, mediaHTML) == mediaHTML {
		s.casePage(c, found)
		return
	}
	detail, err := s.detail(c.Request.Context(), found)
	if err != nil {
		s.fail(c, err)
		return
	}
	write(c, http.StatusOK, mediaJSON, detail)
}

func (s *Server) detail(ctx context.Context, found store.Case) (caseDetail, error) {
	item, err := s.item(ctx, found)
	if err != nil {
		return caseDetail{}, err
	}
	d := caseDetail{caseItem: item, Documents: []documentItem{}, Findings: []report.Finding{}}
	all, err := s.o.Store.CaseDocuments(ctx, found.Key)
	if err != nil {
		return caseDetail{}, err
	}
	now, err := s.o.Store.DocumentsAt(ctx, found.Key, found.Sequence)
	if err != nil {
		return caseDetail{}, err
	}
	counts := map[string]bool{}
	for _, doc := range now {
		// Earlier revisions of the report only tell what the present one changed.
		counts[doc.ID] = doc.Kind != store.Report || doc.Revision == found.Revision
	}
	for _, doc := range all {
		d.Documents = append(d.Documents, documentItem{doc.Kind, doc.Source, doc.Revision, doc.Received, counts[doc.ID]})
	}
	if found.Status == string(report.Withdrawn) {
		return d, nil
	}
	merged, err := s.o.Intake.Merged(ctx, found.Key, found.Sequence)
	if err != nil {
		return caseDetail{}, err
	}
	d.Report, d.Findings = &merged, append(d.Findings, check.Check(merged)...)
	return d, nil
}
