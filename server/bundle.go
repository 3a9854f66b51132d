package server

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
)

// getBundle shows a case as the transaction Bundle that stands for its state.
func (s *Server) getBundle(c *gin.Context) {
	found, err := s.found(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	g, err := s.o.Intake.Graph(c.Request.Context(), found.Key, found.Sequence)
	if err != nil {
		s.fail(c, err)
		return
	}
	s.bundle(c, g)
}

func (s *Server) bundle(c *gin.Context, g graph.Graph) {
	c.Data(http.StatusOK, mediaFHIR, fhir.Bundle(g))
}
