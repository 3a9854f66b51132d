package server

import (
	"encoding/json"
	"io"
	"log/slog"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	"github.com/pb33f/libopenapi-validator/schema_validation"
	"github.com/pb33f/libopenapi/datamodel"
	"github.com/stretchr/testify/require"

	"enbloc/schemas"
)

var pathParameter = regexp.MustCompile(`[:*]([a-z]+)`)

// TestTheDescriptionNamesEveryRoute holds the router and openapi.json against
// each other, both ways.
func TestTheDescriptionNamesEveryRoute(t *testing.T) {
	t.Parallel()
	var routes, described []string
	for _, r := range New(Options{}).engine.Routes() {
		routes = append(routes, r.Method+" "+pathParameter.ReplaceAllString(r.Path, "{$1}"))
	}
	var doc struct {
		Paths map[string]map[string]json.RawMessage
	}
	require.NoError(t, json.Unmarshal(openAPIText, &doc))
	for path, methods := range doc.Paths {
		for method := range methods {
			described = append(described, strings.ToUpper(method)+" "+path)
		}
	}
	slices.Sort(routes)
	slices.Sort(described)
	require.Equal(t, routes, described)
}

// TestTheDescriptionIsOpenAPI asks a library that others wrote, which holds the
// document against the JSON Schema that the OpenAPI Initiative publishes for
// OpenAPI 3.1.
func TestTheDescriptionIsOpenAPI(t *testing.T) {
	t.Parallel()
	config := datamodel.NewDocumentConfiguration()
	config.Logger = slog.New(slog.NewTextHandler(io.Discard, nil))
	doc, err := libopenapi.NewDocumentWithConfiguration(openAPIText, config)
	require.NoError(t, err)
	require.Equal(t, "3.1.1", doc.GetVersion())
	ok, problems := schema_validation.ValidateOpenAPIDocument(doc)
	for _, p := range problems {
		t.Error(p.Message, p.Reason)
	}
	require.True(t, ok)
	// The judge must bite.
	broken, err := libopenapi.NewDocumentWithConfiguration([]byte(strings.Replace(string(openAPIText), `"operationId"`, `"operation-id"`, 1)), config)
	require.NoError(t, err)
	ok, _ = schema_validation.ValidateOpenAPIDocument(broken)
	require.False(t, ok)
}

var reference = regexp.MustCompile(`"\$ref": ?"([^"]+)"`)

// TestEveryReferenceLeadsSomewhere resolves the references of the description:
// within it, or to a schema that is served.
func TestEveryReferenceLeadsSomewhere(t *testing.T) {
	t.Parallel()
	var doc any
	require.NoError(t, json.Unmarshal(openAPIText, &doc))
	found := reference.FindAllStringSubmatch(string(openAPIText), -1)
	require.NotEmpty(t, found)
	for _, m := range found {
		if path, ok := strings.CutPrefix(m[1], "/schemas/"); ok {
			_, ok := schemas.Lookup(path)
			require.True(t, ok, m[1])
			continue
		}
		node := doc
		for token := range strings.SplitSeq(strings.TrimPrefix(m[1], "#/"), "/") {
			object, _ := node.(map[string]any)
			require.Contains(t, object, token, m[1])
			node = object[token]
		}
	}
}

func TestTheReadablePageShowsEveryOperation(t *testing.T) {
	t.Parallel()
	shown := 0
	for _, g := range described.Groups {
		for _, o := range g.Operations {
			require.NotEmpty(t, o.Summary, o.Path)
			require.NotEmpty(t, o.Description, o.Path)
			require.NotEmpty(t, o.Answers, o.Path)
			shown++
		}
	}
	require.Len(t, New(Options{}).engine.Routes(), shown)
}
