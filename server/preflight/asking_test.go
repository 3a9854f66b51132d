package preflight_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// beside puts answers of a test before those of the practice receiver.
type beside map[string]http.HandlerFunc

// askedOf runs a preflight against a practice receiver that answers some paths
// in another way.
func askedOf(t testing.TB, answers beside) preflight.Report {
	t.Helper()
	r := practice.New("/fhir")
	require.NoError(t, r.SeedHospital(1))
	r.Shape(practice.Shape{Deletes: true})
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		if special, ok := answers[strings.TrimPrefix(req.URL.Path, "/fhir/")]; ok {
			special(w, req)
			return
		}
		r.ServeHTTP(w, req)
	}))
	t.Cleanup(web.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL + "/fhir", Timeout: 20 * time.Second})
	require.NoError(t, err)
	report, err := preflight.Run(context.Background(), preflight.Options{Client: client, Write: true, Bytes: 1 << 20, Entries: 64})
	require.NoError(t, err)
	return report
}

func says(status int, body any) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/fhir+json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(body)
	}
}

func foundOf(p preflight.Report, id string) string {
	for _, c := range p.Checks {
		if c.ID == id {
			return c.Found
		}
	}
	return ""
}

// codes answers $validate-code: a code is valid when it says so.
func codes(valid func(code string) bool) http.HandlerFunc {
	return func(w http.ResponseWriter, req *http.Request) {
		var p struct {
			Parameter []struct {
				Name string
				Code string `json:"valueCode"`
			}
		}
		_ = json.NewDecoder(req.Body).Decode(&p)
		for _, one := range p.Parameter {
			if one.Name == "code" {
				says(http.StatusOK, map[string]any{"resourceType": "Parameters",
					"parameter": []any{map[string]any{"name": "result", "valueBoolean": valid(one.Code)}}})(w, req)
			}
		}
	}
}

func TestAskingAboutCodes(t *testing.T) {
	t.Parallel()
	require.Equal(t, preflight.Info, statusOf(askedOf(t, nil), "terminology"), "the practice receiver knows no codes")

	loinc := func(w http.ResponseWriter, req *http.Request) {
		_ = req.ParseForm()
		bundle := map[string]any{"resourceType": "Bundle", "type": "searchset", "entry": []any{}}
		if req.Form.Get("url") == "http://loinc.org" {
			bundle["entry"] = []any{map[string]any{"resource": map[string]any{"resourceType": "CodeSystem", "url": "http://loinc.org", "version": "2.77"}}}
		}
		says(http.StatusOK, bundle)(w, req)
	}
	good := askedOf(t, beside{"CodeSystem/$validate-code": codes(func(c string) bool { return c == "final" }),
		"CodeSystem/_search": loinc, "CodeSystem": loinc})
	require.Equal(t, preflight.Pass, statusOf(good, "terminology"))
	require.Contains(t, foundOf(good, "terminology"), "LOINC 2.77")
	require.Contains(t, foundOf(good, "terminology"), "not shown: ours, SNOMED CT, UCUM")

	require.Equal(t, preflight.Warn, statusOf(askedOf(t, beside{"CodeSystem/$validate-code": codes(func(string) bool { return true })}), "terminology"))
}

func TestAskingForValidation(t *testing.T) {
	t.Parallel()
	require.Equal(t, preflight.Info, statusOf(askedOf(t, nil), "validate"), "the practice receiver does not offer it")
	outcome := func(severity string) map[string]any {
		return map[string]any{"resourceType": "OperationOutcome", "issue": []any{map[string]any{"severity": severity, "code": "informational"}}}
	}
	blind := askedOf(t, beside{"Observation/$validate": says(http.StatusOK, outcome("information"))})
	require.Equal(t, preflight.Warn, statusOf(blind, "validate"))
	seeing := askedOf(t, beside{"Observation/$validate": func(w http.ResponseWriter, req *http.Request) {
		var o struct{ Status string }
		_ = json.NewDecoder(req.Body).Decode(&o)
		severity := "information"
		if o.Status != "final" {
			severity = "error"
		}
		says(http.StatusOK, outcome(severity))(w, req)
	}})
	require.Equal(t, preflight.Pass, statusOf(seeing, "validate"))
}

func TestProfilesThatTheServerLists(t *testing.T) {
	t.Parallel()
	require.Equal(t, preflight.Info, statusOf(askedOf(t, nil), "profiles"))
	statement := func(profiles ...string) http.HandlerFunc {
		return says(http.StatusOK, map[string]any{"resourceType": "CapabilityStatement", "fhirVersion": "4.0.1", "rest": []any{map[string]any{"mode": "server",
			"interaction": []any{map[string]any{"code": "transaction"}},
			"resource":    []any{map[string]any{"type": "Observation", "profile": "http://hl7.org/fhir/StructureDefinition/Observation", "supportedProfile": profiles}}}}})
	}
	const ours, other = "https://enbloc.example/fhir/StructureDefinition/enbloc-lesion-panel", "http://example.org/StructureDefinition/theirs"
	got := askedOf(t, beside{"metadata": statement(ours)})
	require.Equal(t, preflight.Pass, statusOf(got, "profiles"), foundOf(got, "profiles"))
	got = askedOf(t, beside{"metadata": statement(ours, other)})
	require.Equal(t, preflight.Info, statusOf(got, "profiles"))
	require.Contains(t, foundOf(got, "profiles"), "Observation theirs")
}

// The pace is measured, and a server that asks for less is not pressed.
func TestPace(t *testing.T) {
	t.Parallel()
	free := askedOf(t, nil)
	require.Equal(t, preflight.Pass, statusOf(free, "rate"), foundOf(free, "rate"))
	require.NotNil(t, free.Rate)
	require.Positive(t, free.Rate.AtOnce)
	require.Positive(t, free.Rate.PerSecond)

	var now atomic.Int32
	r := practice.New("/fhir")
	busy := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		defer now.Add(-1)
		if n := now.Add(1); n > 1 {
			says(http.StatusTooManyRequests, map[string]any{"resourceType": "OperationOutcome", "issue": []any{map[string]any{"severity": "error", "code": "throttled"}}})(w, req)
			return
		}
		time.Sleep(5 * time.Millisecond) // long enough for the other to come
		r.ServeHTTP(w, req)
	}))
	t.Cleanup(busy.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: busy.URL + "/fhir"})
	require.NoError(t, err)
	got, err := preflight.Run(context.Background(), preflight.Options{Client: client, Write: true, Bytes: 1 << 20, Entries: 64})
	require.NoError(t, err)
	require.Equal(t, preflight.Warn, statusOf(got, "rate"), foundOf(got, "rate"))
	require.True(t, got.Rate.Throttled)
	require.Equal(t, 1, got.Rate.AtOnce)
}

// A sign-in by tokens that is described (SMART App Launch 2.2,
// .well-known/smart-configuration) is held against what delivery needs.
func TestSignInDescription(t *testing.T) {
	t.Parallel()
	const place = ".well-known/smart-configuration"
	require.Contains(t, foundOf(askedOf(t, nil), "smart"), "no smart-configuration")
	full := map[string]any{"token_endpoint": "https://example.org/token", "grant_types_supported": []string{"client_credentials"},
		"token_endpoint_auth_signing_alg_values_supported": []string{"RS384", "ES384"}, "scopes_supported": []string{"system/*.cruds"}}
	require.Equal(t, preflight.Info, statusOf(askedOf(t, beside{place: says(http.StatusOK, full)}), "smart"))
	full["grant_types_supported"], full["scopes_supported"] = []string{"authorization_code"}, []string{"patient/*.rs", "system/Observation.write"}
	poor := askedOf(t, beside{place: says(http.StatusOK, full)})
	require.Equal(t, preflight.Warn, statusOf(poor, "smart"))
	require.Contains(t, foundOf(poor, "smart"), "client_credentials")
	require.Contains(t, foundOf(poor, "smart"), "system/Procedure")
	require.NotContains(t, foundOf(poor, "smart"), "system/Observation")
}

// A certificate is good, watched from a month before its end, and bad in its
// last days and after.
func TestCertificateNearItsEnd(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		left time.Duration
		want preflight.Status
		text string
	}{
		"far": {200 * 24 * time.Hour, preflight.Pass, "199 days"}, "soon": {20 * 24 * time.Hour, preflight.Warn, "19 days"},
		"now": {2 * 24 * time.Hour, preflight.Fail, "1 days"}, "over": {-time.Hour, preflight.Fail, "certificate has expired"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cert, roots := certificate(t, c.left)
			web := httptest.NewUnstartedServer(practice.New("/fhir"))
			web.TLS = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
			web.StartTLS()
			t.Cleanup(web.Close)
			client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL + "/fhir",
				Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}}})
			require.NoError(t, err)
			got, err := preflight.Run(context.Background(), preflight.Options{Client: client})
			require.NoError(t, err)
			require.Equal(t, c.want, statusOf(got, "tls"), foundOf(got, "tls"))
			require.Contains(t, foundOf(got, "tls"), c.text)
		})
	}
}

// certificate makes one of its own for this machine.
func certificate(t testing.TB, left time.Duration) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "HTEST"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: time.Now().Add(left), KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, IsCA: true, BasicConstraintsValid: true}
	raw, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	parsed, err := x509.ParseCertificate(raw)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(parsed)
	return tls.Certificate{Certificate: [][]byte{raw}, PrivateKey: key}, roots
}
