package server

import (
	"context"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
)

// probing is how long readiness waits for the database.
const probing = 2 * time.Second

// live says that the process answers, and nothing more.
func (s *Server) live(c *gin.Context) {
	write(c, http.StatusOK, mediaJSON, map[string]string{"status": "live"})
}

// ready says whether a document sent now could be committed and would be
// delivered. Targets are not asked: a target that is down stops no report.
func (s *Server) ready(c *gin.Context) {
	ctx, cancel := context.WithTimeout(c.Request.Context(), probing)
	defer cancel()
	if err := s.o.Store.Ready(ctx); err != nil {
		s.o.Logger.WarnContext(ctx, "not ready", "part", "store", "error", loggable(err))
		s.fail(c, fault.New(fault.Unavailable, "The database cannot be written at the moment. Nothing is accepted until it can."))
		return
	}
	if !s.o.Delivering() {
		s.fail(c, fault.New(fault.Unavailable, "The delivery service is not running. What is sent is kept and delivered later."))
		return
	}
	write(c, http.StatusOK, mediaJSON, map[string]any{"status": "ready", "store": "ok", "delivery": "ok", "circuits": s.circuits(), "stepped_down": s.steppedDown()})
}
