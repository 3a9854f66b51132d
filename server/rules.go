package server

import (
	"net/http"

	"github.com/gin-gonic/gin"
)

// rules shows the rule book that the answers come from.
func (s *Server) rules(c *gin.Context) {
	write(c, http.StatusOK, mediaJSON, s.o.Pipeline.Book.Print())
}
