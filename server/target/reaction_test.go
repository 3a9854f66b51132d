package target_test

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/target"
)

var now = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// want is written down by hand for every status that has a meaning in the IANA
// registry of HTTP status codes; what a server invents falls into its hundred,
// as RFC 9110 (section 15) demands.
var want = map[int]target.Class{
	200: target.Done, 201: target.Done, 204: target.Done, 304: target.Done,
	400: target.Permanent, 402: target.Permanent, 413: target.Permanent, 414: target.Permanent, 422: target.Permanent, 424: target.Permanent, 431: target.Permanent, 451: target.Permanent,
	401: target.Auth, 403: target.Auth, 407: target.Auth, 511: target.Auth,
	404: target.StepDown, 405: target.StepDown, 406: target.StepDown, 415: target.StepDown, 426: target.StepDown, 428: target.StepDown, 501: target.StepDown, 505: target.StepDown,
	408: target.Unknown, 500: target.Unknown, 502: target.Unknown, 504: target.Unknown,
	409: target.Conflict, 410: target.Conflict, 412: target.Conflict,
	423: target.Retry, 425: target.Retry, 429: target.Retry, 503: target.Retry, 507: target.Retry,
}

func TestEveryStatusHasAClass(t *testing.T) {
	t.Parallel()
	for status := 100; status <= 599; status++ {
		got := target.React(status, nil, nil, now).Class
		require.Contains(t, target.Classes(), got, status)
		if class, named := want[status]; named {
			require.Equal(t, class, got, status)
			continue
		}
		hundred := map[int]target.Class{1: target.Unknown, 2: target.Unknown, 3: target.Retry, 4: target.Permanent, 5: target.Unknown}[status/100]
		require.Equal(t, hundred, got, status)
	}
	require.Equal(t, target.Unknown, target.React(0, nil, nil, now).Class, "no answer at all")
	require.Equal(t, target.Unknown, target.React(999, nil, nil, now).Class)
}

// TestOnlySuccessIsSuccess is the property that matters most: nothing else may
// close a row as delivered.
func TestOnlySuccessIsSuccess(t *testing.T) {
	t.Parallel()
	for status := 0; status <= 599; status++ {
		for _, code := range []string{"", "informational", "conflict", "not-found", "transient", "duplicate"} {
			issues := target.Issues{{Severity: "error", Code: code, Hint: "referential integrity"}}
			if target.React(status, nil, issues, now).Class == target.Done {
				require.True(t, slices.Contains([]int{200, 201, 204, 304}, status), status)
			}
		}
	}
}

// TestWhatFourServersAnswered are answers that were observed on HAPI FHIR 8.8.0,
// Helios 0.2.7, Medplum 5.2.13 (router in memory) and WSO2 FHIR Server 1.0.0,
// texts shortened; the identifiers in them are made up.
func TestWhatFourServersAnswered(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		status      int
		code, text  string
		class       target.Class
		hint, notIn string
	}{
		"HAPI: stale version":           {409, "processing", "HAPI-0550: HAPI-0989: Trying to update Patient/1005/_history/1 but this is not the current version", target.Conflict, "version is not current", "1005"},
		"HAPI: lost race":               {409, "processing", "HAPI-2745: conditional constraint failure", target.Conflict, "lost a race", "conditional"},
		"HAPI: two matches":             {412, "processing", "HAPI-0958: Failed to CREATE Patient with match URL \"identifier=x|HTEST-1\" because this search matched 2 resources", target.Conflict, "several matches", "HTEST-1"},
		"HAPI: dangling reference":      {400, "processing", "HAPI-1094: Resource Patient/HTEST-9 not found, specified in path: Observation.subject", target.Park, "reference not found", "HTEST-9"},
		"HAPI: no conditional match":    {404, "processing", "HAPI-1091: Invalid match URL \"Patient?identifier=HTEST-9\" - No resources match this search", target.Park, "reference not found", "HTEST-9"},
		"HAPI: bad code":                {400, "processing", "HAPI-0450: unknown code 'bogus'", target.Permanent, "HAPI-0450", "bogus"},
		"HAPI: wrong target":            {422, "processing", "HAPI-0931: Invalid reference", target.Permanent, "HAPI-0931", "Invalid"},
		"Helios: stale version in tx":   {400, "processing", "Entry failed with status 412", target.Permanent, "", "412"},
		"Helios: enforced validation":   {422, "required", "missing status", target.Permanent, "", "missing"},
		"WSO2: stale version":           {412, "conflict", "version conflict", target.Conflict, "version is not current", "version conflict"},
		"WSO2: two matches":             {412, "multiple-matches", "multiple matches", target.Conflict, "several matches", "x"},
		"Medplum: stale version, entry": {412, "processing", "Precondition Failed", target.Conflict, "", "Precondition"},
		"Medplum: two matches, entry":   {400, "multiple-matches", "Multiple resources found", target.Conflict, "", "Multiple"},
		"Blaze: referential integrity":  {409, "conflict", "Referential integrity violated. Resource `Patient/0` doesn't exist.", target.Park, "referential integrity", "Patient/0"},
		"throttled as 400":              {400, "throttled", "", target.Retry, "", "x"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			body := `{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"` + c.code + `","diagnostics":` + quote(c.text) + `}]}`
			issues := target.ReadIssues([]byte(body))
			require.Len(t, issues, 1)
			require.Equal(t, c.class, target.React(c.status, nil, issues, now).Class)
			require.Contains(t, issues[0].Hint, c.hint)
			require.NotContains(t, issues.String(), c.notIn, "diagnostics quote identifiers")
		})
	}
}

func quote(s string) string {
	out := []byte{'"'}
	for _, c := range []byte(s) {
		if c == '"' || c == '\\' {
			out = append(out, '\\')
		}
		out = append(out, c)
	}
	return string(append(out, '"'))
}

func TestRetryAfterInEveryForm(t *testing.T) {
	t.Parallel()
	for value, want := range map[string]time.Duration{
		"":                                0,
		"0":                               0,
		"7":                               7 * time.Second,
		" 7 ":                             7 * time.Second,
		"-5":                              0,
		"99999999999":                     time.Hour,
		"9999999999999999999999":          0,
		"1.5":                             0,
		"soon":                            0,
		"Tue, 10 Mar 2026 12:00:30 GMT":   30 * time.Second,
		"Tue, 10 Mar 2026 11:00:00 GMT":   0,
		"Tue, 10 Mar 2027 12:00:00 GMT":   time.Hour,
		"Tuesday, 10-Mar-26 12:01:00 GMT": time.Minute, // RFC 850 form, obsolete and allowed by RFC 9110
	} {
		got := target.React(503, http.Header{"Retry-After": {value}}, nil, now)
		require.Equal(t, target.Reaction{Class: target.Retry, After: want}, got, value)
	}
	require.Equal(t, target.Reaction{Class: target.Unknown, After: 7 * time.Second}, target.React(202, http.Header{"Retry-After": {"7"}}, nil, now), "accepted, to be read later")
	require.Equal(t, 250*time.Millisecond, target.RetryAfter(http.Header{"X-Ms-Retry-After-Ms": {"250"}}, now))
	require.Zero(t, target.React(400, http.Header{"Retry-After": {"7"}}, nil, now).After, "waiting does not mend content")
}

// What may come from the place of an outcome, by R5's asynchronous interaction
// pattern (https://hl7.org/fhir/R5/async-bundle.html): the outcome, not yet, an
// error of asking that passes, a refusal of what was asked for. All else says
// nothing of the request.
func TestWhatIsToldOfAnOutcome(t *testing.T) {
	t.Parallel()
	refusals := map[int]target.Class{400: target.Permanent, 409: target.Conflict, 412: target.Conflict, 413: target.Permanent, 422: target.Permanent}
	for status := 0; status <= 599; status++ {
		for code, issues := range map[string]target.Issues{"": nil, "invalid": {{Severity: "error", Code: "invalid"}}, "transient": {{Severity: "error", Code: "transient"}}} {
			want := target.Unknown
			switch {
			case status == 200 || status == 201 || status == 204:
				want = target.Done
			case status == 202 || status == 429 || status == 503 || status >= 400 && code == "transient":
				want = target.Retry
			case code == "invalid" && refusals[status] != "":
				want = refusals[status]
			}
			require.Equal(t, want, target.Polled(status, nil, issues, now).Class, "%d %s", status, code)
		}
	}
	missing := target.Issues{{Severity: "error", Code: "processing", Hint: "referential integrity"}}
	require.Equal(t, target.Park, target.Polled(409, nil, missing, now).Class)
	throttled := target.Issues{{Severity: "error", Code: "throttled"}}
	require.Equal(t, target.Unknown, target.Polled(400, nil, throttled, now).Class, "the writing or the asking?")
	require.Equal(t, 7*time.Second, target.Polled(202, http.Header{"Retry-After": {"7"}}, nil, now).After)
	require.Equal(t, 30*time.Second, target.Polled(503, http.Header{"Retry-After": {"Tue, 10 Mar 2026 12:00:30 GMT"}}, nil, now).After)
}

func TestPathsAreKeptOnlyWhenTheyCannotCarryAValue(t *testing.T) {
	t.Parallel()
	for place, want := range map[string]struct {
		entry int
		path  string
	}{
		"Observation.status": {-1, "Observation.status"},
		"Bundle.entry[3].resource.ofType(Observation).code": {3, "Observation.code"},
		"Bundle.entry[12].resource.status":                  {12, "status"},
		"Bundle.entry[3].resource/*Observation/null*/.code": {3, "code"},
		"Bundle.entry[3]":                              {3, "resource"},
		"Observation.component[2].valueQuantity":       {-1, "Observation.component[2].valueQuantity"},
		"Patient.identifier.where(value='HTEST-1')":    {-1, ""},
		"Bundle.entry[3].resource.where(id='HTEST-1')": {3, ""},
		"/f:Bundle/f:entry[3]/f:resource":              {3, ""},
		"HTEST 1":                                      {-1, ""},
		"":                                             {-1, ""},
		"Bundle.entry[99999999999999999999999999].resource.status": {99, ""},
	} {
		entry, path := target.SafePath(place)
		if want.entry != 99 {
			require.Equal(t, want.entry, entry, place)
			require.Equal(t, want.path, path, place)
		}
	}
}

func FuzzReadIssues(f *testing.F) {
	f.Add([]byte(`{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"invalid","expression":["Bundle.entry[1].resource.status"]}]}`))
	f.Add([]byte(`null`))
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, i := range target.ReadIssues(body) {
			for _, c := range i.Path + i.Code + i.Severity + i.Hint {
				if c < ' ' || c > '~' || c == '\'' || c == '"' {
					t.Fatalf("%q got through", c)
				}
			}
		}
	})
}
