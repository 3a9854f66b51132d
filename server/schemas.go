package server

import (
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"enbloc/schemas"
	"enbloc/server/fault"
)

// publicCache lets copies of public documents be kept for an hour.
const publicCache = "public, max-age=3600"

// listSchemas names the schemas of the documents.
func (s *Server) listSchemas(c *gin.Context) {
	paths := []string{}
	for _, f := range schemas.Files() {
		paths = append(paths, "/schemas/"+f.Path)
	}
	c.Header("Cache-Control", publicCache)
	write(c, http.StatusOK, mediaJSON, map[string]any{"schemas": paths})
}

// schema serves one schema as it is. Its address ends as its $id does, so that
// relative references lead to its neighbours here, too.
func (s *Server) schema(c *gin.Context) {
	f, ok := schemas.Lookup(strings.TrimPrefix(c.Param("name"), "/"))
	if !ok {
		s.fail(c, fault.New(fault.NotFound, "There is no such schema. The list is at /schemas."))
		return
	}
	c.Header("Cache-Control", publicCache)
	c.Data(http.StatusOK, "application/schema+json", f.Body)
}
