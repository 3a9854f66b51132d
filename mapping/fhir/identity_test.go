package fhir_test

import (
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// The golden vector of recipe 1. It must never change: a changed key gives
// every resource a second copy on every server. The expected values are made
// here from the recipe's words with the standard library alone.
func TestIdentityVector(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	caseKey := fhir.CaseKey(options().Key, options().Tenant, rep)
	mac := func(message string) string {
		h := hmac.New(sha256.New, options().Key)
		h.Write([]byte(message))
		return hex.EncodeToString(h.Sum(nil))[:40]
	}
	require.Equal(t, "c"+mac("1|HTEST-site|https://his.example/endoscopy|https://his.example/sid/report|HTEST-REP-0101"), caseKey)
	require.Equal(t, "cc37acced6566f8a5856f5f4c9fdcd2a315e2c8af", caseKey)
	for _, r := range mapped(t, rep).Resources {
		switch r.Role {
		case "lesion/1/examination/paris-type":
			require.Equal(t, "k"+mac(caseKey+"|lesion/1/examination/paris-type"), r.Key)
			require.Equal(t, uuid5(t, r.Key), r.UUID)
		case "shared/software/0.0.0-test":
			require.Equal(t, "k"+mac("1|HTEST-site|shared/software/0.0.0-test"), r.Key)
		}
	}
}

// uuid5 is RFC 4122, 4.3, spelled out: version 5 of the key in the name space
// that is version 5 of the key system's URL.
func uuid5(t *testing.T, key string) string {
	t.Helper()
	urlSpace, err := hex.DecodeString(strings.ReplaceAll("6ba7b811-9dad-11d1-80b4-00c04fd430c8", "-", "")) // RFC 4122, appendix C
	require.NoError(t, err)
	make5 := func(space []byte, name string) []byte {
		sum := sha1.Sum(append(append([]byte{}, space...), name...))
		sum[6], sum[8] = sum[6]&0x0f|0x50, sum[8]&0x3f|0x80
		return sum[:16]
	}
	u := make5(make5(urlSpace, graph.RoleKeySystem), key)
	return fmt.Sprintf("%x-%x-%x-%x-%x", u[:4], u[4:6], u[6:8], u[8:10], u[10:])
}

// Another secret, tenant, system or report id gives another case; another
// revision, status or patient does not.
func TestCaseKeyHangsOnTheReportOnly(t *testing.T) {
	t.Parallel()
	base := gastricESD(t)
	key := options().Key
	same := func(change func(*report.Report)) string {
		rep := gastricESD(t)
		change(&rep)
		return fhir.CaseKey(key, "a", rep)
	}
	want := fhir.CaseKey(key, "a", base)
	require.Equal(t, want, same(func(r *report.Report) { r.Revision, r.Status = 9, report.Amended }))
	require.Equal(t, want, same(func(r *report.Report) { r.Patient.Identifier.Value = "HTEST-other" }))
	require.NotEqual(t, want, same(func(r *report.Report) { r.ReportID.Value += "x" }))
	require.NotEqual(t, want, same(func(r *report.Report) { r.ReportID.System += "x" }))
	require.NotEqual(t, want, same(func(r *report.Report) { r.SourceSystem += "x" }))
	require.NotEqual(t, want, fhir.CaseKey(key, "b", base))
	require.NotEqual(t, want, fhir.CaseKey([]byte("HTEST-another-key-of-some-length"), "a", base))
	moved := same(func(r *report.Report) { r.ReportID = report.Identifier{System: "a|b", Value: "c"} })
	require.NotEqual(t, moved, same(func(r *report.Report) { r.ReportID = report.Identifier{System: "a", Value: "b|c"} }))
}

// Roles are shown to operators: nothing of the report's identifiers is in them.
func TestRolesHoldNoIdentifiers(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Events = []report.Event{{ID: "HTEST-MRN-4711", Kind: report.EventBleeding, Timing: report.AfterSession, RecordedAt: rep.WrittenAt}}
	plain := regexp.MustCompile(`^[a-z0-9./-]+$`)
	for _, r := range mapped(t, rep).Resources {
		require.Regexp(t, plain, r.Role)
		require.NotContains(t, r.Role, "4711")
		require.NotContains(t, strings.ToUpper(r.Role), "HTEST")
	}
}

// Conditional references survive a URL parser and then FHIR's own escaping
// (R4 search, 3.1.1.4.0.2: backslash before $ , | and \).
func TestConditionalReferencesAreEscaped(t *testing.T) {
	t.Parallel()
	for _, value := range []string{"HTEST-1", "a b", "a+b", "a&b", "a#b", "100%", "a,b", "a|b", "a$b", `a\b`, "Ä/ö;=?", "'\""} {
		rep := gastricESD(t)
		rep.Patient.Identifier.Value = value
		g := mapped(t, rep)
		var found bool
		for _, r := range g.Resources {
			if r.Type != "BodyStructure" {
				continue
			}
			reference := regexp.MustCompile(`Patient\?identifier=[^"]+`).FindString(string(r.Body))
			u, err := url.Parse(reference)
			require.NoError(t, err)
			query, err := url.ParseQuery(u.RawQuery)
			require.NoError(t, err)
			want := strings.NewReplacer(`\`, `\\`, `$`, `\$`, `,`, `\,`, `|`, `\|`).Replace(value)
			require.Equal(t, rep.Patient.Identifier.System+"|"+want, query.Get("identifier"), value)
			found = true
		}
		require.True(t, found)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*fhir.Options){
		"short key":   func(o *fhir.Options) { o.Key = []byte("short") },
		"no key":      func(o *fhir.Options) { o.Key = nil },
		"no sequence": func(o *fhir.Options) { o.Sequence = 0 },
	} {
		opt := options()
		change(&opt)
		_, err := fhir.Map(gastricESD(t), nil, opt)
		require.Error(t, err, name)
	}
}
