package server

import (
	"bytes"
	_ "embed" // the description of the API
	"encoding/json"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
)

// openAPIText is kept by hand, like the routes; tests keep the two together.
//
//go:embed openapi.json
var openAPIText []byte

// openAPI serves the description of the API.
func (s *Server) openAPI(c *gin.Context) {
	c.Header("Cache-Control", publicCache)
	c.Data(http.StatusOK, mediaJSON, openAPIText)
}

//go:embed page/docs.html
var docsPageText string

var docsTemplate = template.Must(template.New("docs").Parse(docsPageText))

// docsPage shows the same description to people.
func (s *Server) docsPage(c *gin.Context) {
	s.page(c, docsTemplate, map[string]any{"API": described})
}

// described is the description laid out for the page; it never changes while
// the program runs.
var described = layOut(openAPIText)

// apiPage is what the page needs of the description.
type apiPage struct {
	Title, Summary string
	Paragraphs     []string
	Groups         []apiGroup
}

type apiGroup struct {
	Name, Description string
	Operations        []apiOperation
}

type apiOperation struct {
	Method, Path, Summary, Description string
	Parameters                         []apiParameter
	Body                               string // address of the schema of the body
	Answers                            []apiAnswer
}

type apiParameter struct{ Name, In, Description string }

type apiAnswer struct{ Status, Description string }

// apiDocument is the part of OpenAPI 3.1 that the page shows.
type apiDocument struct {
	Info struct{ Title, Summary, Description string }
	Tags []struct{ Name, Description string }
	// Paths is read in order by pathsInOrder.
	Paths      map[string]map[string]apiEntry
	Components struct {
		Parameters map[string]apiParameter
		Responses  map[string]struct{ Description string }
	}
}

type apiEntry struct {
	Summary, Description string
	Tags                 []string
	Parameters           []struct {
		apiParameter
		Ref string `json:"$ref"`
	}
	RequestBody struct {
		Content map[string]struct {
			Schema struct {
				Ref string `json:"$ref"`
			}
		}
	}
	Responses map[string]struct {
		Description string
		Ref         string `json:"$ref"`
	}
}

func layOut(raw []byte) apiPage {
	var doc apiDocument
	if err := json.Unmarshal(raw, &doc); err != nil {
		panic("reading embedded openapi.json: " + err.Error())
	}
	p := apiPage{Title: doc.Info.Title, Summary: doc.Info.Summary, Paragraphs: strings.Split(doc.Info.Description, "\n\n")}
	for _, tag := range doc.Tags {
		g := apiGroup{Name: tag.Name, Description: tag.Description}
		for _, path := range pathsInOrder(raw) {
			for _, method := range []string{"post", "get"} {
				if entry, ok := doc.Paths[path][method]; ok && slices.Contains(entry.Tags, tag.Name) {
					g.Operations = append(g.Operations, doc.operation(method, path, entry))
				}
			}
		}
		p.Groups = append(p.Groups, g)
	}
	return p
}

func (d apiDocument) operation(method, path string, e apiEntry) apiOperation {
	o := apiOperation{Method: strings.ToUpper(method), Path: path, Summary: e.Summary, Description: e.Description}
	for _, p := range e.Parameters {
		if p.Ref != "" {
			p.apiParameter = d.Components.Parameters[lastOf(p.Ref)]
		}
		o.Parameters = append(o.Parameters, p.apiParameter)
	}
	// A schema of ours has an address; one of this document has none to show.
	if ref := e.RequestBody.Content[mediaJSON].Schema.Ref; strings.HasPrefix(ref, "/schemas/") {
		o.Body = ref
	}
	for status, r := range e.Responses {
		if r.Ref != "" {
			r.Description = d.Components.Responses[lastOf(r.Ref)].Description
		}
		o.Answers = append(o.Answers, apiAnswer{status, r.Description})
	}
	slices.SortFunc(o.Answers, func(a, b apiAnswer) int { return strings.Compare(a.Status, b.Status) })
	return o
}

func lastOf(ref string) string { return ref[strings.LastIndexByte(ref, '/')+1:] }

// pathsInOrder are the paths as the document has them; a map loses their order.
func pathsInOrder(raw []byte) []string {
	var doc struct{ Paths json.RawMessage }
	if err := json.Unmarshal(raw, &doc); err != nil {
		panic("reading embedded openapi.json: " + err.Error())
	}
	d := json.NewDecoder(bytes.NewReader(doc.Paths))
	var paths []string
	for depth := 0; ; {
		token, err := d.Token()
		if err != nil {
			return paths
		}
		switch t := token.(type) {
		case json.Delim:
			if t == '{' || t == '[' {
				depth++
			} else {
				depth--
			}
		case string:
			if depth == 1 && strings.HasPrefix(t, "/") {
				paths = append(paths, t)
			}
		}
	}
}
