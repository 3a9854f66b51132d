package server

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the style sheet and the templates
	"encoding/base64"
	"encoding/json"
	"html/template"
	"net/http"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/graph"
	"enbloc/server/fault"
	"enbloc/server/store"
)

//go:embed page/style.css
var style string

//go:embed page/case.html
var casePageText string

var caseTemplate = template.Must(template.New("case").Parse(casePageText))

// pagePolicy lets a page have its own style sheet, named by its hash, and
// nothing else: no script, no image, no frame, no form.
var pagePolicy = func() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
}()

// narrative is what a DiagnosticReport says in words.
type narrative struct {
	Title string
	Div   template.HTML
}

// casePage shows the narratives of the case's reports, the same that its
// DiagnosticReports carry, as a page to read and print.
func (s *Server) casePage(c *gin.Context, found store.Case) {
	g, err := s.o.Intake.Graph(c.Request.Context(), found.Key, found.Sequence)
	if err != nil {
		s.fail(c, err)
		return
	}
	told, err := narratives(g)
	if err != nil {
		s.fail(c, err)
		return
	}
	s.page(c, caseTemplate, map[string]any{
		"Case": found.Key, "Revision": found.Revision, "Status": found.Status, "Sequence": found.Sequence,
		"Updated": found.Updated.Format("2006-01-02 15:04 MST"), "Reports": told,
	})
}

// page answers with a page of ours.
func (s *Server) page(c *gin.Context, t *template.Template, data map[string]any) {
	data["Style"] = template.CSS(style) //nolint:gosec // our own file
	var b bytes.Buffer
	if err := t.Execute(&b, data); err != nil {
		// The text of a template error can quote the data.
		s.fail(c, &fault.Error{Op: "writing page", Kind: fault.Internal})
		return
	}
	c.Header("Content-Security-Policy", pagePolicy)
	c.Data(http.StatusOK, mediaHTML+"; charset=utf-8", b.Bytes())
}

// narratives takes the narrative of each DiagnosticReport. It is XHTML that
// mapping made and escaped; the page's policy would run no script in it.
func narratives(g graph.Graph) ([]narrative, error) {
	var out []narrative
	for _, r := range g.Resources {
		if r.Type != "DiagnosticReport" {
			continue
		}
		var body struct {
			Text struct {
				Div string `json:"div"`
			} `json:"text"`
			Code struct {
				Text   string `json:"text"`
				Coding []struct {
					Display string `json:"display"`
				} `json:"coding"`
			} `json:"code"`
		}
		if err := json.Unmarshal(r.Body, &body); err != nil {
			return nil, &fault.Error{Op: "reading narrative", Kind: fault.Internal, Subject: r.Key}
		}
		n := narrative{Title: body.Code.Text, Div: template.HTML(body.Text.Div)} //nolint:gosec // see above
		if n.Title == "" && len(body.Code.Coding) > 0 {
			n.Title = body.Code.Coding[0].Display
		}
		out = append(out, n)
	}
	return out, nil
}
