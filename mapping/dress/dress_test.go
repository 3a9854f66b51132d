package dress_test

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/dress"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/term"
)

var key = []byte("HTEST dressing key, no secret")

func mapped(t testing.TB, rep report.Report) graph.Graph {
	t.Helper()
	g, err := fhir.Map(rep, assess.DefaultBook().Assess(rep), fhir.Options{Key: key, Sequence: 1})
	require.NoError(t, err)
	return g
}

func dressed(t testing.TB, name string, g graph.Graph) graph.Graph {
	t.Helper()
	d, err := dress.Named(name)
	require.NoError(t, err)
	out, err := d.Apply(g, term.Overlay{})
	require.NoError(t, err)
	return out
}

// Every dressing of every case keeps resources, roles, keys, statuses, values
// and claims, changes nothing that it was given, and does the same twice.
func TestEveryDressingKeepsTheRecord(t *testing.T) {
	t.Parallel()
	for _, d := range dress.All() {
		t.Run(d.Name, func(t *testing.T) {
			t.Parallel()
			for _, c := range sample.Cover(60) {
				g := mapped(t, c.Merged())
				before := bodies(g)
				out := dressed(t, d.Name, g)
				require.Equal(t, before, bodies(g), "the graph that came in was changed")
				require.Equal(t, out, dressed(t, d.Name, g))
				require.Len(t, out.Resources, len(g.Resources))
				for i, r := range out.Resources {
					was := g.Resources[i]
					require.Equal(t, []string{was.Role, was.Key, was.Type}, []string{r.Role, r.Key, r.Type})
					require.Equal(t, kept(t, was.Body), kept(t, r.Body), r.Role)
				}
				require.Equal(t, d.Document, out.Document != nil)
			}
		})
	}
}

func bodies(g graph.Graph) []string {
	var out []string
	for _, r := range g.Resources {
		out = append(out, string(r.Body))
	}
	return out
}

// kept is what no dressing may touch.
func kept(t *testing.T, raw []byte) map[string]string {
	t.Helper()
	var tree map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(raw, &tree))
	out := map[string]string{}
	for name, value := range tree {
		if strings.HasPrefix(name, "value") || name == "status" || name == "meta" || name == "component" || name == "code" ||
			name == "subject" || name == "text" || name == "conclusion" || name == "dataAbsentReason" {
			out[name] = string(value)
		}
	}
	return out
}

func TestNamed(t *testing.T) {
	t.Parallel()
	d, err := dress.Named("")
	require.NoError(t, err)
	require.Equal(t, dress.Base, d.Name)
	require.Equal(t, dress.Base, dress.All()[0].Name)
	_, err = dress.Named("no such dressing")
	require.ErrorContains(t, err, "base, endoscopy-core, eu-document, us-core")
}

// Two categories, the second the LOINC part for endoscopy without a display
// (JP Core, JP_Observation_Endoscopy); none on what the laboratory found.
func TestEndoscopyCategories(t *testing.T) {
	t.Parallel()
	marked, laboratory := 0, 0
	var all []graph.Resource
	for seed := range uint64(10) {
		all = append(all, dressed(t, "endoscopy-core", mapped(t, sample.Make(seed).Merged())).Resources...)
	}
	for _, r := range all {
		if r.Type != "Observation" {
			continue
		}
		var o struct {
			Category []struct{ Coding []map[string]string }
		}
		require.NoError(t, json.Unmarshal(r.Body, &o))
		switch o.Category[0].Coding[0]["code"] {
		case "procedure":
			require.Equal(t, map[string]string{"system": "http://loinc.org", "code": "LP7796-8"}, o.Category[1].Coding[0], r.Role)
			marked++
		case "laboratory":
			require.NotContains(t, string(r.Body), "LP7796-8", r.Role)
			laboratory++
		}
	}
	require.Positive(t, marked)
	require.Positive(t, laboratory)
}

var shortDate = regexp.MustCompile(`"effectiveDateTime":"\d{4}(-\d{2})?"`)

// US Core 9.0.0: an Observation's dateTime to the day at least (us-core-1), a
// category, code and subject, and an organisation behind each practitioner and
// device of a Provenance.
func TestUSCoreElements(t *testing.T) {
	t.Parallel()
	houses := 0
	for _, c := range sample.Cover(120) {
		rep := c.Merged()
		for _, r := range dressed(t, "us-core", mapped(t, rep)).Resources {
			if r.Type == "Observation" {
				require.NotRegexp(t, shortDate, string(r.Body))
				for _, required := range []string{`"category":[`, `"code":{`, `"subject":{`} {
					require.Contains(t, string(r.Body), required, r.Role)
				}
			}
			if r.Type == "Provenance" && rep.Facility != nil {
				var p struct {
					Agent []struct {
						OnBehalfOf *struct {
							Type       string
							Identifier struct{ Value string }
						}
					}
				}
				require.NoError(t, json.Unmarshal(r.Body, &p))
				for _, a := range p.Agent {
					require.NotNil(t, a.OnBehalfOf)
					require.Equal(t, rep.Facility.Value, a.OnBehalfOf.Identifier.Value)
					houses++
				}
			}
		}
	}
	require.Positive(t, houses)
}

// bundle is a document as another program reads it.
type bundle struct {
	Type, Timestamp string
	Identifier      struct{ System, Value string }
	Entry           []struct {
		FullURL  string
		Request  json.RawMessage
		Resource json.RawMessage
	}
}

func documentOf(t testing.TB, rep report.Report) bundle {
	t.Helper()
	var b bundle
	require.NoError(t, json.Unmarshal(dressed(t, "eu-document", mapped(t, rep)).Document, &b))
	return b
}

var link = regexp.MustCompile(`"reference":"([^"]*)"`)

// R4's rules for a document (http://hl7.org/fhir/R4/documents.html; bdl-9,
// bdl-10, bdl-11): identifier, date, Composition first; every entry has a
// fullUrl and none a request; every reference stays inside; and everything is
// reached from the Composition.
func TestDocumentHoldsTogether(t *testing.T) {
	t.Parallel()
	for _, c := range sample.Cover(60) {
		b := documentOf(t, c.Merged())
		require.Equal(t, "document", b.Type)
		require.NotEmpty(t, b.Identifier.Value)
		require.NotEmpty(t, b.Timestamp)
		links := map[string][]string{}
		for i, e := range b.Entry {
			require.Nil(t, e.Request)
			require.NotContains(t, links, e.FullURL)
			links[e.FullURL] = []string{}
			for _, m := range link.FindAllSubmatch(e.Resource, -1) {
				links[e.FullURL] = append(links[e.FullURL], string(m[1]))
			}
			if i == 0 {
				require.Contains(t, string(e.Resource), `"resourceType":"Composition"`)
			}
		}
		seen := map[string]bool{}
		for open := []string{b.Entry[0].FullURL}; len(open) > 0; open = open[1:] {
			if seen[open[0]] {
				continue
			}
			require.Contains(t, links, open[0], "a reference that leads out of the document")
			seen[open[0]] = true
			open = append(open, links[open[0]]...)
		}
		require.Len(t, seen, len(b.Entry), "an entry that nothing leads to")
	}
}

// The Composition's status by the report's, as the European laboratory guide
// pairs them, over the life of a report.
func TestCompositionStatus(t *testing.T) {
	t.Parallel()
	for status, want := range map[report.Status]string{report.Draft: "preliminary", report.Signed: "final",
		report.Amended: "amended", report.Corrected: "amended", report.Withdrawn: "entered-in-error"} {
		rep := sample.Make(3).Report
		rep.Status, rep.StatusReason = status, "typing"
		if status == report.Draft {
			rep.SignedAt, rep.Signer = report.Time{}, nil
		}
		b := documentOf(t, rep)
		var c struct {
			Status, Title, Date string
			Attester            []struct{ Mode string }
			Author              []json.RawMessage
			Section             []struct{ Text struct{ Div string } }
		}
		require.NoError(t, json.Unmarshal(b.Entry[0].Resource, &c))
		require.Equal(t, want, c.Status)
		require.NotEmpty(t, c.Author)
		require.Equal(t, status != report.Draft, len(c.Attester) == 1, "only what was signed is attested")
		require.Contains(t, c.Section[0].Text.Div, "<h2>")
	}
}

// What the hospital owns is named by its identifier, whatever is in it.
func TestDocumentNamesPeopleByIdentifier(t *testing.T) {
	t.Parallel()
	rep := sample.Make(3).Report
	rep.Patient.Identifier = report.Identifier{System: "https://hospital.example/sid/patient", Value: `HTEST 1|2,3$4\5 "ö" 6+7`}
	b := documentOf(t, rep)
	require.NotContains(t, string(b.Entry[0].Resource), "?identifier=")
	var c struct {
		Subject struct {
			Type       string
			Identifier struct{ System, Value string }
		}
	}
	require.NoError(t, json.Unmarshal(b.Entry[0].Resource, &c))
	require.Equal(t, "Patient", c.Subject.Type)
	require.Equal(t, rep.Patient.Identifier.System, c.Subject.Identifier.System)
	require.Equal(t, rep.Patient.Identifier.Value, c.Subject.Identifier.Value)
}
