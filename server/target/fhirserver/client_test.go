package fhirserver_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

func client(t testing.TB, handler http.HandlerFunc, change ...func(*fhirserver.Config)) *fhirserver.Client {
	t.Helper()
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	c := fhirserver.Config{BaseURL: server.URL + "/fhir/", Timeout: 5 * time.Second}
	for _, f := range change {
		f(&c)
	}
	made, err := fhirserver.New(c)
	require.NoError(t, err)
	return made
}

var ctx = context.Background()

func TestEveryRequestSaysWhoAndWhat(t *testing.T) {
	t.Parallel()
	var ids []string
	c := client(t, func(w http.ResponseWriter, r *http.Request) {
		ids = append(ids, r.Header.Get("X-Request-Id"))
		require.Equal(t, "application/fhir+json", r.Header.Get("Accept"))
		require.Equal(t, "Bearer HTEST", r.Header.Get("Authorization"))
		require.Equal(t, "/fhir", r.URL.Path)
		require.Equal(t, "application/fhir+json", r.Header.Get("Content-Type"))
		body, _ := io.ReadAll(r.Body)
		_, _ = w.Write(body)
	}, func(c *fhirserver.Config) { c.Bearer = "HTEST" })
	for range 2 {
		a := c.Transaction(ctx, []byte(`{}`))
		require.NoError(t, a.Err)
		require.Equal(t, `{}`, string(a.Body))
		require.Contains(t, ids, a.RequestID)
	}
	require.NotEqual(t, ids[0], ids[1], "one id an attempt")

	c = client(t, func(_ http.ResponseWriter, r *http.Request) {
		user, password, ok := r.BasicAuth()
		require.True(t, ok)
		require.Equal(t, "u:p", user+":"+password)
	}, func(c *fhirserver.Config) { c.Username, c.Password = "u", "p" })
	require.Equal(t, 200, c.Metadata(ctx).Status)
}

func TestAddressesAndCredentialsAreChecked(t *testing.T) {
	t.Parallel()
	for _, bad := range []fhirserver.Config{{}, {BaseURL: "ftp://x/y"}, {BaseURL: "http://u:p@x/y"}, {BaseURL: "http://x/y?z=1"}, {BaseURL: "x"},
		{BaseURL: "http://x", Bearer: "a", Username: "b"}} {
		_, err := fhirserver.New(bad)
		require.Error(t, err)
		require.NotContains(t, err.Error(), "u:p")
	}
	c, err := fhirserver.New(fhirserver.Config{BaseURL: "http://x/fhir/"})
	require.NoError(t, err)
	require.Equal(t, "http://x/fhir", c.BaseURL())
}

// broken is a transport whose errors quote the URL, as the real one's do.
type broken struct{ err error }

func (b broken) RoundTrip(r *http.Request) (*http.Response, error) {
	return nil, fmt.Errorf("%s: %w", r.URL, b.err)
}

func TestTroubleNamesNoAddressAndNoIdentifier(t *testing.T) {
	t.Parallel()
	refused := &net.OpError{Op: "dial", Err: errors.New("connection refused")}
	for _, c := range []struct {
		err     error
		notSent bool
		class   target.Class
	}{
		{refused, true, target.Retry},
		{&net.DNSError{Name: "secret.host"}, true, target.Retry},
		{&net.OpError{Op: "read", Err: errors.New("reset by peer")}, false, target.Unknown},
		{io.ErrUnexpectedEOF, false, target.Unknown},
		{context.DeadlineExceeded, false, target.Unknown},
	} {
		made, err := fhirserver.New(fhirserver.Config{BaseURL: "http://secret.host/fhir", Transport: broken{c.err}})
		require.NoError(t, err)
		hits, a := made.Search(ctx, fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{"urn:x|HTEST-PAT"}})
		require.Nil(t, hits)
		require.Error(t, a.Err)
		require.Equal(t, c.notSent, a.NotSent)
		require.Equal(t, c.class, a.Reaction(time.Now()).Class)
		for _, secret := range []string{"secret.host", "HTEST"} {
			require.NotContains(t, a.Err.Error(), secret)
		}
	}
}

func TestAnswersHaveALimitAndATime(t *testing.T) {
	t.Parallel()
	c := client(t, func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(make([]byte, 101)) }, func(c *fhirserver.Config) { c.MaxAnswer = 100 })
	a := c.Metadata(ctx)
	require.ErrorContains(t, a.Err, "larger than the limit")
	require.Nil(t, a.Body)

	hang := make(chan struct{})
	defer close(hang)
	c = client(t, func(http.ResponseWriter, *http.Request) { <-hang }, func(c *fhirserver.Config) { c.Timeout = 50 * time.Millisecond })
	a = c.Transaction(ctx, []byte(`{}`))
	require.ErrorContains(t, a.Err, "no answer in time")
	require.Equal(t, target.Unknown, a.Reaction(time.Now()).Class)
}

func TestRedirectsAreNotFollowed(t *testing.T) {
	t.Parallel()
	elsewhere := 0
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere++ }))
	defer other.Close()
	c := client(t, func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, other.URL, http.StatusPermanentRedirect)
	})
	a := c.Transaction(ctx, []byte(`{"patient":"HTEST"}`))
	require.Equal(t, 308, a.Status)
	require.Equal(t, target.Retry, a.Reaction(time.Now()).Class)
	require.Zero(t, elsewhere)
}

func TestSearchKeepsIdentifiersOutOfTheURL(t *testing.T) {
	t.Parallel()
	c := client(t, func(w http.ResponseWriter, r *http.Request) {
		require.Equal(t, http.MethodPost, r.Method)
		require.Equal(t, "/fhir/Patient/_search", r.URL.Path)
		require.Empty(t, r.URL.RawQuery)
		require.Equal(t, "no-cache", r.Header.Get("Cache-Control"))
		require.NoError(t, r.ParseForm())
		require.Equal(t, `urn:x|a\,b\|c\$d\\e +&#%`, r.PostForm.Get("identifier"))
		_, _ = w.Write([]byte(`{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Patient","id":"1"}},{"resource":{"resourceType":"OperationOutcome"}}]}`))
	})
	hits, a := c.Search(ctx, fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{fhirserver.Token("urn:x", `a,b|c$d\e +&#%`)}})
	require.NoError(t, a.Err)
	require.Len(t, hits, 1, "an outcome among the entries is no hit")
}

// Only a search for one lets the server store nothing: one known server gives a
// first page then and no other.
func TestASearchForOneNeedsNoFurtherPages(t *testing.T) {
	t.Parallel()
	hit := `{"resource":{"resourceType":"Patient","id":"1"}}`
	for sole, want := range map[bool]struct {
		cache string
		pages int
	}{true: {"no-cache, no-store", 2}, false: {"no-cache", 4}} {
		pages := 0
		c := client(t, func(w http.ResponseWriter, r *http.Request) {
			if pages == 0 {
				require.Equal(t, want.cache, r.Header.Get("Cache-Control"))
			}
			entry := []string{"", hit + "," + hit, hit, hit}[pages] // the first page may be empty
			if pages++; pages < 4 {
				_, _ = fmt.Fprintf(w, `{"resourceType":"Bundle","link":[{"relation":"next","url":"/fhir/Patient?page=%d"}],"entry":[%s]}`, pages, entry)
				return
			}
			_, _ = fmt.Fprintf(w, `{"resourceType":"Bundle","entry":[%s]}`, entry)
		})
		hits, a := c.Search(ctx, fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{"urn:x|1"}, Sole: sole})
		require.NoError(t, a.Err)
		require.Equal(t, want.pages, pages)
		require.Greater(t, len(hits), 1)
	}
}

func TestSearchFallsBackToGetAndRemembers(t *testing.T) {
	t.Parallel()
	posts, gets := 0, 0
	c := client(t, func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			posts++
			w.WriteHeader(http.StatusMethodNotAllowed)
			return
		}
		gets++
		require.Equal(t, `urn:x|a\,b`, r.URL.Query().Get("identifier"))
		_, _ = w.Write([]byte(`{"resourceType":"Bundle"}`))
	})
	for range 3 {
		hits, a := c.Search(ctx, fhirserver.Query{Type: "Observation", Param: "identifier", Values: []string{fhirserver.Token("urn:x", "a,b")}, Plain: true})
		require.NoError(t, a.Err)
		require.NotNil(t, hits)
		require.Empty(t, hits)
	}
	require.Equal(t, 1, posts)
	require.Equal(t, 3, gets)

	hits, a := c.Search(ctx, fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{fhirserver.Token("urn:x", "a,b")}})
	require.Nil(t, hits, "who a patient is stands in no URL, whatever else the target took")
	require.Equal(t, http.StatusMethodNotAllowed, a.Status)
	require.Equal(t, 2, posts)
	require.Equal(t, 3, gets)
}

func TestPagesAreFollowedButNeverElsewhere(t *testing.T) {
	t.Parallel()
	stolen := 0
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { stolen++ }))
	defer other.Close()
	next := ""
	c := client(t, func(w http.ResponseWriter, r *http.Request) {
		link := `,"link":[{"relation":"next","url":"` + next + `"}]`
		if r.URL.Query().Get("page") == "2" {
			link = ""
		}
		_, _ = w.Write([]byte(`{"resourceType":"Bundle"` + link + `,"entry":[{"resource":{"resourceType":"Observation","id":"1"}}]}`))
	})
	q := fhirserver.Query{Type: "Observation", Param: "_tag", Values: []string{"a|b"}}
	for _, good := range []string{c.BaseURL() + "/Observation?page=2", "Observation?page=2", "/fhir?page=2"} {
		next = good
		if good == "Observation?page=2" {
			next = "/fhir/Observation?page=2"
		}
		hits, a := c.Search(ctx, q)
		require.NoError(t, a.Err, good)
		require.Len(t, hits, 2)
	}
	for _, bad := range []string{other.URL + "/fhir?page=2", "http://" + strings.TrimPrefix(c.BaseURL(), "http://") + "x?page=2", "/other?page=2", "//evil.example/fhir?page=2", "%zz"} {
		next = bad
		hits, a := c.Search(ctx, q)
		require.Error(t, a.Err, bad)
		require.Nil(t, hits)
	}
	require.Zero(t, stolen)
	next = c.BaseURL() + "/Observation?page=1"
	hits, a := c.Search(ctx, q)
	require.ErrorContains(t, a.Err, "more pages than can be right")
	require.Nil(t, hits)
}

// TestAnswersOfFourServersAreRead reads entry.response in the shapes that were
// observed on HAPI FHIR 8.8.0, Helios 0.2.7, Medplum 5.2.13 and WSO2 1.0.0.
func TestAnswersOfFourServersAreRead(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		entry string
		want  fhirserver.EntryResult
	}{
		"HAPI":                  {`{"response":{"status":"201 Created","location":"Patient/1000/_history/1","etag":"1"}}`, fhirserver.EntryResult{Status: 201, Type: "Patient", ID: "1000", Version: "1"}},
		"Helios":                {`{"fullUrl":"x","response":{"status":"201 Created","location":"Patient/ab-1/_history/1","etag":"W/\"1\""}}`, fhirserver.EntryResult{Status: 201, Type: "Patient", ID: "ab-1", Version: "1"}},
		"Helios, no location":   {`{"response":{"status":"200 OK","etag":"W/\"2\""}}`, fhirserver.EntryResult{Status: 200, Version: "2"}},
		"Medplum":               {`{"response":{"status":"201","location":"Patient/5f6e"},"resource":{"resourceType":"Patient","id":"5f6e","meta":{"versionId":"8d"}}}`, fhirserver.EntryResult{Status: 201, Type: "Patient", ID: "5f6e"}},
		"resource only":         {`{"response":{"status":"200"},"resource":{"resourceType":"Patient","id":"5f6e","meta":{"versionId":"8d"}}}`, fhirserver.EntryResult{Status: 200, Type: "Patient", ID: "5f6e", Version: "8d"}},
		"WSO2":                  {`{"response":{"status":"200 OK","location":"http://127.0.0.1:9090/fhir/r4/Patient/77"}}`, fhirserver.EntryResult{Status: 200, Type: "Patient", ID: "77"}},
		"absolute with version": {`{"response":{"status":"201 Created","location":"https://h/fhir/Patient/77/_history/3","etag":"\"3\""}}`, fhirserver.EntryResult{Status: 201, Type: "Patient", ID: "77", Version: "3"}},
		"nothing":               {`{}`, fhirserver.EntryResult{}},
		"hostile location":      {`{"response":{"status":"201","location":"Patient/../../x?y=1"}}`, fhirserver.EntryResult{Status: 201}},
	} {
		got, err := fhirserver.ReadTransaction([]byte(`{"resourceType":"Bundle","entry":[` + c.entry + `]}`))
		require.NoError(t, err, name)
		require.Equal(t, []fhirserver.EntryResult{c.want}, got, name)
	}
	_, err := fhirserver.ReadTransaction([]byte(`{"resourceType":"OperationOutcome"}`))
	require.Error(t, err)
	require.Equal(t, `W/"1"`, fhirserver.ETag("1"))
}

func TestCapabilitiesOfALaterFHIRAreReadToo(t *testing.T) {
	t.Parallel()
	c, err := fhirserver.ReadCapabilities([]byte(`{"resourceType":"CapabilityStatement","fhirVersion":"5.0.0","software":{"name":"x","version":"1"},"unknown":{},
		"rest":[{"mode":"client"},{"mode":"server","interaction":[{"code":"transaction"}],"resource":[{"type":"Observation","conditionalCreate":true,"interaction":[{"code":"read"}],"searchParam":[{"name":"identifier"}]}]}]}`))
	require.NoError(t, err)
	require.True(t, c.Transaction())
	require.Equal(t, "5.0.0", c.FHIRVersion)
	require.True(t, *c.Types["Observation"].ConditionalCreate)
	require.Nil(t, c.Types["Observation"].UpdateCreate, "not mentioned is not no")
	require.Equal(t, []string{"identifier"}, c.Types["Observation"].SearchParams)
	_, err = fhirserver.ReadCapabilities([]byte(`{}`))
	require.Error(t, err)
}

func FuzzReadTransaction(f *testing.F) {
	f.Add([]byte(`{"resourceType":"Bundle","entry":[{"response":{"status":"201 Created","location":"Patient/1/_history/1","etag":"1"}}]}`))
	f.Fuzz(func(_ *testing.T, body []byte) { _, _ = fhirserver.ReadTransaction(body) })
}
