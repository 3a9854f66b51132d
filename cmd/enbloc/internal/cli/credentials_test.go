package cli_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/golang-jwt/jwt/v5"
	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/server/practice"
)

// guarded is a practice receiver behind TLS by a certificate that no machine
// knows, which lets in only those who signed in with the key.
type guarded struct {
	base, ca, key string
	signedIn      atomic.Int32
}

func newGuarded(t *testing.T) *guarded {
	t.Helper()
	g := &guarded{ca: filepath.Join(t.TempDir(), "ca.pem"), key: filepath.Join(t.TempDir(), "key.pem")}
	key, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	require.NoError(t, err)
	der, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(g.key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600))

	receiver := practice.New("/fhir")
	receiver.Shape(practice.Shape{Deletes: true})
	require.NoError(t, receiver.SeedHospital(3))
	var tokenURL string
	mux := http.NewServeMux()
	mux.HandleFunc("GET /fhir/.well-known/smart-configuration", func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(w, `{"token_endpoint":%q,"grant_types_supported":["client_credentials"]}`, tokenURL)
	})
	mux.HandleFunc("POST /token", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_, err := jwt.Parse(r.PostFormValue("client_assertion"), func(*jwt.Token) (any, error) { return &key.PublicKey, nil },
			jwt.WithValidMethods([]string{"ES384"}), jwt.WithAudience(tokenURL), jwt.WithIssuer("enbloc-endoscopy"), jwt.WithExpirationRequired())
		if err != nil {
			w.WriteHeader(http.StatusUnauthorized)
			_, _ = w.Write([]byte(`{"error":"invalid_client"}`))
			return
		}
		fmt.Fprintf(w, `{"access_token":"at-%d","token_type":"bearer","expires_in":300,"scope":"system/Observation.write"}`, g.signedIn.Add(1))
	})
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.Header.Get("Authorization"), "Bearer at-") {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		receiver.ServeHTTP(w, r)
	})
	s := httptest.NewTLSServer(mux)
	t.Cleanup(s.Close)
	tokenURL, g.base = s.URL+"/token", s.URL+"/fhir"
	require.NoError(t, os.WriteFile(g.ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw}), 0o600))
	return g
}

func TestATargetThatIsSignedInto(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	access := []string{"--target-client-id", "enbloc-endoscopy", "--target-client-key-file", g.key, "--target-ca-file", g.ca}

	got := run(t, "", append([]string{"preflight", g.base, "--cases", "1", "--target-serves", "test"}, access...)...)
	require.Equal(t, cli.Good, got.code, got.err)
	require.Contains(t, got.out, "Signing in: A token was granted, good for 5m0s, without the right to write system/")
	require.Contains(t, got.out, "can be delivered to by rung 2 of 6")
	require.Equal(t, int32(1), g.signedIn.Load())

	report := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	got = run(t, "", append([]string{"send", report, "--to", g.base, "--data", t.TempDir(), "--target-serves", "test", "--logical-patient"}, access...)...)
	require.Equal(t, cli.Good, got.code, got.err)
	require.Equal(t, int32(2), g.signedIn.Load())

	// Another client than the one that the key belongs to.
	got = run(t, "", "preflight", g.base, "--target-client-id", "other", "--target-client-key-file", g.key, "--target-ca-file", g.ca, "--target-serves", "test")
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.out, "(invalid_client)")
	// A certificate that this machine does not know, and no word about it.
	got = run(t, "", "preflight", g.base, "--target-client-id", "enbloc-endoscopy", "--target-client-key-file", g.key, "--target-serves", "test")
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.out, "unknown authority")

	for want, args := range map[string][]string{
		"one kind of credentials": {"--target-client-id", "c", "--target-client-key-file", g.key, "--target-user", "u"},
		"needs a client id":       {"--target-client-key-file", g.key},
		"private key or a client": {"--target-client-id", "c"},
		"holds none in PEM":       {"--target-ca-file", report},
		"holds no PEM block":      {"--target-client-id", "c", "--target-client-key-file", report},
		"cannot be read":          {"--target-client-id", "c", "--target-client-key-file", brokenKey(t)},
	} {
		got := run(t, "", append([]string{"preflight", g.base, "--cases", "1"}, args...)...)
		require.Equal(t, cli.Usage, got.code, got.err)
		require.Contains(t, got.err, want)
	}
}

func brokenKey(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "key.pem")
	require.NoError(t, os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: []byte("x")}), 0o600))
	return path
}
