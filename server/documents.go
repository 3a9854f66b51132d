package server

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"enbloc/server/intake"
	"enbloc/server/store"
)

// receipt is the answer to an accepted document.
type receipt struct {
	intake.Receipt
	// Links are where to look next.
	Links map[string]string `json:"links"`
}

// accept takes documents of one kind.
func (s *Server) accept(kind store.Kind) gin.HandlerFunc {
	return func(c *gin.Context) {
		raw, err := s.body(c)
		if err != nil {
			s.metrics.document(kind, "unreadable")
			s.fail(c, err)
			return
		}
		guard, err := s.guard(c, raw)
		if err != nil || guard.replayed(c) {
			s.failIf(c, err)
			return
		}
		defer guard.release()
		r, err := s.o.Intake.Accept(c.Request.Context(), kind, raw, guard.keep)
		s.metrics.document(kind, outcomeLabel(r, err))
		if err != nil {
			s.fail(c, err)
			return
		}
		answerReceipt(c, r)
	}
}

func (s *Server) failIf(c *gin.Context, err error) {
	if err != nil {
		s.fail(c, err)
	}
}

// answerReceipt says 202: accepted, delivery follows.
func answerReceipt(c *gin.Context, r intake.Receipt) {
	body := linked(r)
	c.Header("Location", body.Links["self"])
	write(c, http.StatusAccepted, mediaJSON, body)
}

func linked(r intake.Receipt) receipt {
	r.Findings = listed(r.Findings)
	if r.Outcome == intake.Parked {
		return receipt{r, map[string]string{"self": "/parked"}}
	}
	self := "/cases/" + r.Case
	return receipt{r, map[string]string{
		"self": self, "assessment": self + "/assessment", "fhir": self + "/fhir", "deliveries": "/deliveries?case=" + r.Case,
	}}
}
