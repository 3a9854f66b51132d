//go:build peers

package server_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/mapping/report"
	"enbloc/server/delivery"
	"enbloc/server/servertest"
	"enbloc/server/target/fhirserver"
)

// documentCase is a case dressed as a document, and the pipeline's target in it.
func documentCase(t *testing.T, s *servertest.Service) (rep report.Report, pipeline mapping.Pipeline) {
	t.Helper()
	raw := newLife(t).document(bleedReport, nil)
	s.MustAccept("/cases", raw) // makes the patient known
	require.NoError(t, json.Unmarshal(raw, &rep))
	pipeline = mapping.New(servertest.Key)
	var err error
	pipeline.Dress, err = dress.Named("eu-document")
	require.NoError(t, err)
	return rep, pipeline
}

// A document is stored as a Bundle by two servers and comes back as it was
// sent; to the base, where transactions go, it is refused or stores nothing.
func TestADocumentGoesToBundleAndNeverToTheBase(t *testing.T) {
	for _, name := range []string{"ENBLOC_TEST_HAPI", "ENBLOC_TEST_HELIOS"} {
		t.Run(name, func(t *testing.T) {
			base := os.Getenv(name)
			require.NotEmpty(t, base, "start the server and give its base URL in %s", name)
			s := servertest.Start(t, servertest.Options{Server: base, Undelivered: true})
			rep, pipeline := documentCase(t, s)
			g, err := pipeline.Map(rep, 1)
			require.NoError(t, err)
			client := clientOf(t, base)

			atBase := client.Transaction(context.Background(), g.Document)
			require.NotEqual(t, http.StatusOK, atBase.Status, "the base takes transactions")

			created := client.Create(context.Background(), "Bundle", g.Document, "")
			require.Equal(t, http.StatusCreated, created.Status)
			read := client.Read(context.Background(), "Bundle", fhirserver.ReadSingle(created).ID)
			require.Equal(t, http.StatusOK, read.Status)
			sent, got := leaves(t, g.Document), leaves(t, read.Body)
			require.Greater(t, len(sent), 1000)
			for path, value := range sent {
				require.Equal(t, value, got[path], path)
			}
		})
	}
}

// On the rung of documents the DocumentReference carries it, one for each state
// of the case, the later in the place of the earlier.
func TestADocumentTravelsInItsReference(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start HAPI and give its base URL in ENBLOC_TEST_HAPI")
	s := servertest.Start(t, servertest.Options{Server: base, Undelivered: true})
	rep, pipeline := documentCase(t, s)
	engine := delivery.NewEngine(delivery.Target{Name: "documents", Client: clientOf(t, base), Rung: delivery.RungDocument,
		Verify: delivery.VerifyAll}, delivery.EngineOptions{})
	var caseKey string
	for sequence, status := range []report.Status{report.Signed, report.Corrected} {
		rep.Status = status
		g, err := pipeline.Map(rep, sequence+1)
		require.NoError(t, err)
		caseKey = g.CaseKey
		got, err := engine.Deliver(context.Background(), g)
		require.NoError(t, err)
		require.Empty(t, got.Alarms())
	}
	found := hospitals[0].search(t, base, "DocumentReference", caseKey)
	require.Len(t, found, 2)
	replaced := 0
	for _, raw := range found {
		var d struct {
			RelatesTo []struct{ Code string }
			Content   []struct {
				Attachment struct{ ContentType, Data string }
			}
		}
		require.NoError(t, json.Unmarshal(raw, &d))
		replaced += len(d.RelatesTo)
		document, err := base64.StdEncoding.DecodeString(d.Content[0].Attachment.Data)
		require.NoError(t, err)
		var bundle struct {
			Type  string
			Entry []struct{ Resource struct{ ResourceType string } }
		}
		require.NoError(t, json.Unmarshal(document, &bundle))
		require.Equal(t, "document", bundle.Type)
		require.Equal(t, "Composition", bundle.Entry[0].Resource.ResourceType)
	}
	require.Equal(t, 1, replaced)
}
