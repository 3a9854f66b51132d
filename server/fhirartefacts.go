package server

import (
	"encoding/json"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	published "enbloc/schemas/fhir"
	"enbloc/server/fault"
)

const (
	noArtefact     = "There is no such definition. The lists are at /fhir/CodeSystem, /fhir/ConceptMap, /fhir/StructureDefinition and /fhir/ValueSet."
	artefactFilter = "The query has a parameter that this list does not know: it knows url, the canonical address of a definition."
)

// searchset is a FHIR Bundle of definitions.
type searchset struct {
	ResourceType string           `json:"resourceType"`
	Type         string           `json:"type"`
	Total        int              `json:"total"`
	Entry        []searchsetEntry `json:"entry,omitempty"`
}

type searchsetEntry struct {
	FullURL  string          `json:"fullUrl"`
	Resource json.RawMessage `json:"resource"`
	Search   struct {
		Mode string `json:"mode"`
	} `json:"search"`
}

// listArtefacts shows our definitions of one FHIR type, all or that of one
// canonical address, as FHIR's search does.
func (s *Server) listArtefacts(c *gin.Context) {
	kind := c.Param("type")
	if !slices.Contains(published.Types, kind) {
		s.fail(c, fault.New(fault.NotFound, noArtefact))
		return
	}
	query := c.Request.URL.Query()
	for name := range query {
		if name != "url" {
			s.fail(c, fault.New(fault.Malformed, artefactFilter))
			return
		}
	}
	answer := searchset{ResourceType: "Bundle", Type: "searchset"}
	for _, a := range published.All(s.o.Pipeline.FHIR.Licensed) {
		if a.Type != kind || query.Has("url") && query.Get("url") != a.URL {
			continue
		}
		entry := searchsetEntry{FullURL: a.URL, Resource: a.JSON}
		entry.Search.Mode = "match"
		answer.Entry = append(answer.Entry, entry)
	}
	answer.Total = len(answer.Entry)
	c.Header("Cache-Control", publicCache)
	write(c, http.StatusOK, mediaFHIR, answer)
}

// artefact serves one definition as it is published. Its address ends as its
// canonical one does.
func (s *Server) artefact(c *gin.Context) {
	a, ok := published.Find(c.Param("type"), c.Param("id"), s.o.Pipeline.FHIR.Licensed)
	if !ok {
		s.fail(c, fault.New(fault.NotFound, noArtefact))
		return
	}
	c.Header("Cache-Control", publicCache)
	c.Data(http.StatusOK, mediaFHIR, a.JSON)
}
