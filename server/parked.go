package server

import (
	"net/http"

	"github.com/gin-gonic/gin"
)

// listParked shows the parts that wait for their case, and why.
func (s *Server) listParked(c *gin.Context) {
	p, err := pageOf(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	waiting, cursor, err := s.o.Intake.Parked(c.Request.Context(), p.after, p.limit)
	if err != nil {
		s.fail(c, err)
		return
	}
	write(c, http.StatusOK, mediaJSON, map[string]any{"parked": waiting, "next": p.next("/parked", cursor)})
}
