package server_test

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"encoding/xml"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

var (
	styleElement = regexp.MustCompile(`(?s)<style>(.*?)</style>`)
	pageMain     = regexp.MustCompile(`(?s)<main>(.*?)</main>`)
)

// TestThePageShowsWhatTheRecordSays compares the page with the narratives of
// the DiagnosticReports in the Bundle: the same text, byte for byte.
func TestThePageShowsWhatTheRecordSays(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	r := s.MustAccept("/cases", example(t, bleedReport))
	s.MustAccept("/histology", example(t, bleedHistology))
	var bundle struct {
		Entry []struct {
			Resource struct {
				ResourceType string
				Text         struct{ Div string }
			}
		}
	}
	s.MustGet("/cases/"+r.Case+"/fhir", &bundle)
	// As a browser asks.
	page := s.Do(http.MethodGet, "/cases/"+r.Case, nil, "Accept", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8")
	require.Equal(t, "text/html; charset=utf-8", page.Header.Get("Content-Type"))
	narratives := 0
	for _, e := range bundle.Entry {
		if e.Resource.ResourceType == "DiagnosticReport" {
			narratives++
			require.Contains(t, string(page.Body), e.Resource.Text.Div)
		}
	}
	require.Equal(t, 2, narratives)
	shown := pageMain.FindString(string(page.Body))
	for _, want := range []string{"Endoscopic submucosal dissection", "320", "eCura"} {
		require.Contains(t, shown, want)
	}
	require.NoError(t, xml.Unmarshal([]byte(shown), new(any)), "what is shown is well-formed")
}

// TestPagesRunNothing holds every page to its policy: one style sheet, named by
// its hash (CSP Level 3, section 2.3.1), and nothing that runs or loads.
func TestPagesRunNothing(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	hostile := example(t, gastricReport, `before/indication_text=<script>alert(1)</script><img src=x onerror=alert(1)>`)
	r := s.MustAccept("/cases", hostile)
	for _, path := range []string{"/cases/" + r.Case, "/", "/docs"} {
		page := s.Do(http.MethodGet, path, nil, "Accept", "text/html")
		require.Equal(t, http.StatusOK, page.Status)
		text := string(page.Body)
		require.NotContains(t, text, "<script")
		require.NotContains(t, text, "<img")
		require.NotContains(t, text, `style="`)
		style := styleElement.FindStringSubmatch(text)
		require.Len(t, style, 2)
		sum := sha256.Sum256([]byte(style[1]))
		policy := page.Header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'")
		require.Contains(t, policy, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
		require.NotContains(t, policy, "unsafe")
		require.NotContains(t, style[1], "http")
		require.Equal(t, "no-store", page.Header.Get("Cache-Control"))
		require.Equal(t, "nosniff", page.Header.Get("X-Content-Type-Options"))
	}
	detail := s.Do(http.MethodGet, "/cases/"+r.Case, nil, "Accept", "*/*")
	require.True(t, json.Valid(detail.Body))
	require.True(t, strings.HasPrefix(detail.Header.Get("Content-Type"), "application/json"))
}
