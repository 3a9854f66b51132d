package server

import (
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	published "enbloc/schemas/fhir"
	"enbloc/server/fault"
)

// listViews names the files that lay records flat.
func (s *Server) listViews(c *gin.Context) {
	paths := []string{}
	for _, v := range published.Views() {
		paths = append(paths, "/views/"+v.Name)
	}
	c.Header("Cache-Control", publicCache)
	write(c, http.StatusOK, mediaJSON, map[string]any{"views": paths})
}

// view serves one of them as it is. A ViewDefinition is no resource of R4, so
// that it goes as plain JSON.
func (s *Server) view(c *gin.Context) {
	all := published.Views()
	i := slices.IndexFunc(all, func(v published.View) bool { return v.Name == c.Param("name") })
	if i < 0 {
		s.fail(c, fault.New(fault.NotFound, "There is no such view. The list is at /views."))
		return
	}
	media := "text/markdown; charset=utf-8"
	switch {
	case strings.HasSuffix(all[i].Name, ".json"):
		media = mediaJSON
	case strings.HasSuffix(all[i].Name, ".sql"):
		media = "application/sql"
	}
	c.Header("Cache-Control", publicCache)
	c.Data(http.StatusOK, media, all[i].Body)
}
