package signin_test

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha512"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
	"enbloc/server/target/signin"
)

// hospital is a FHIR server and its authorisation server.
type hospital struct {
	*httptest.Server
	mu       sync.Mutex
	asked    []url.Values // of the token endpoint
	basic    []string
	calls    int // of the FHIR server
	good     string
	answer   func(w http.ResponseWriter, n int) // of the token endpoint; nil grants
	lifetime int
}

func newHospital(t *testing.T) *hospital {
	t.Helper()
	h := &hospital{lifetime: 300}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /fhir/.well-known/smart-configuration", func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(w, `{"token_endpoint":%q}`, h.URL+"/token")
	})
	mux.HandleFunc("POST /token", func(w http.ResponseWriter, r *http.Request) {
		h.mu.Lock()
		defer h.mu.Unlock()
		_ = r.ParseForm()
		h.asked = append(h.asked, r.PostForm)
		user, password, _ := r.BasicAuth()
		h.basic = append(h.basic, user+":"+password)
		if h.answer != nil {
			h.answer(w, len(h.asked))
			return
		}
		h.good = fmt.Sprintf("token-%d", len(h.asked))
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprintf(w, `{"access_token":%q,"token_type":"bearer","expires_in":%d,"scope":"system/Observation.write system/Procedure.write"}`, h.good, h.lifetime)
	})
	mux.HandleFunc("GET /fhir/metadata", func(w http.ResponseWriter, r *http.Request) {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.calls++
		if r.Header.Get("Authorization") != "Bearer "+h.good {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		_, _ = w.Write([]byte(`{"resourceType":"CapabilityStatement"}`))
	})
	h.Server = httptest.NewServer(mux)
	t.Cleanup(h.Close)
	return h
}

func (h *hospital) client(t *testing.T, s signin.Settings) *fhirserver.Client {
	t.Helper()
	s.ClientID = "enbloc-endoscopy"
	source, err := signin.New(h.URL+"/fhir", s)
	require.NoError(t, err)
	c, err := fhirserver.New(fhirserver.Config{BaseURL: h.URL + "/fhir", Tokens: source})
	require.NoError(t, err)
	return c
}

func keys(t *testing.T) map[string]crypto.Signer {
	t.Helper()
	r, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	e, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	require.NoError(t, err)
	return map[string]crypto.Signer{"RS384": r, "ES384": e}
}

// TestASignedClientIsNamedAsTheGuideHasIt checks every member that SMART App
// Launch 2.2, client-confidential-asymmetric, asks for, and the signature by
// Go's own crypto packages (RFC 7518 sections 3.3 and 3.4), not by the library
// that made it.
func TestASignedClientIsNamedAsTheGuideHasIt(t *testing.T) {
	t.Parallel()
	for algorithm, key := range keys(t) {
		t.Run(algorithm, func(t *testing.T) {
			t.Parallel()
			h := newHospital(t)
			h.lifetime = 1 // each call needs a new one
			c := h.client(t, signin.Settings{Key: key, KeyID: "2026-a", Scope: "system/Procedure.cu"})
			for range 2 {
				require.Equal(t, http.StatusOK, c.Metadata(t.Context()).Status)
			}
			require.Len(t, h.asked, 2)
			seen := map[any]bool{}
			for i, form := range h.asked {
				require.Equal(t, ":", h.basic[i], "no secret beside")
				require.Equal(t, "client_credentials", form.Get("grant_type"))
				require.Equal(t, "system/Procedure.cu", form.Get("scope"))
				require.Equal(t, "urn:ietf:params:oauth:client-assertion-type:jwt-bearer", form.Get("client_assertion_type"))
				require.Len(t, form, 4)
				header, claims := open(t, form.Get("client_assertion"), key)
				require.Equal(t, map[string]any{"alg": algorithm, "kid": "2026-a", "typ": "JWT"}, header)
				require.Equal(t, "enbloc-endoscopy", claims["iss"])
				require.Equal(t, "enbloc-endoscopy", claims["sub"])
				require.Equal(t, []any{h.URL + "/token"}, claims["aud"])
				end := time.Unix(int64(claims["exp"].(float64)), 0)
				require.WithinRange(t, end, time.Now(), time.Now().Add(5*time.Minute))
				seen[claims["jti"]] = true
			}
			require.Len(t, seen, 2, "an assertion is for one use")
		})
	}
}

// open verifies a token in compact form and returns its two parts.
func open(t *testing.T, token string, key crypto.Signer) (header, claims map[string]any) {
	t.Helper()
	parts := strings.Split(token, ".")
	require.Len(t, parts, 3)
	var raw [3][]byte
	for i, p := range parts {
		var err error
		raw[i], err = base64.RawURLEncoding.DecodeString(p)
		require.NoError(t, err)
	}
	sum := sha512.Sum384([]byte(parts[0] + "." + parts[1]))
	switch public := key.Public().(type) {
	case *rsa.PublicKey:
		require.NoError(t, rsa.VerifyPKCS1v15(public, crypto.SHA384, sum[:], raw[2]))
	case *ecdsa.PublicKey:
		require.Len(t, raw[2], 96)
		require.True(t, ecdsa.Verify(public, sum[:], new(big.Int).SetBytes(raw[2][:48]), new(big.Int).SetBytes(raw[2][48:])))
	}
	require.NoError(t, json.Unmarshal(raw[0], &header))
	require.NoError(t, json.Unmarshal(raw[1], &claims))
	return header, claims
}

func TestATokenServesUntilItEnds(t *testing.T) {
	t.Parallel()
	h := newHospital(t)
	c := h.client(t, signin.Settings{Secret: "s3cret of the client", TokenURL: h.URL + "/token"})
	var wait sync.WaitGroup
	for range 20 {
		wait.Go(func() {
			if a := c.Metadata(t.Context()); a.Status != http.StatusOK {
				t.Errorf("status %d", a.Status)
			}
		})
	}
	wait.Wait()
	require.Len(t, h.asked, 1, "one sign-in for all")
	require.Equal(t, []string{"enbloc-endoscopy:" + url.QueryEscape("s3cret of the client")}, h.basic, "RFC 6749 section 2.3.1: both are form-encoded")
	require.Equal(t, signin.DefaultScope, h.asked[0].Get("scope"))
	grant, signs, err := c.SignIn(t.Context())
	require.NoError(t, err)
	require.True(t, signs)
	require.Equal(t, []string{"system/Observation.write", "system/Procedure.write"}, grant.Scopes)
	require.WithinDuration(t, time.Now().Add(300*time.Second), grant.Until, 10*time.Second)
}

// A token that the target refuses before its end is replaced; when the new one
// is refused too, that is the answer.
func TestATokenThatIsRefusedIsReplacedOnce(t *testing.T) {
	t.Parallel()
	h := newHospital(t)
	c := h.client(t, signin.Settings{Secret: "s"})
	require.Equal(t, http.StatusOK, c.Metadata(t.Context()).Status)
	h.mu.Lock()
	h.good = "none" // the server was restarted and knows no token any more
	h.mu.Unlock()
	require.Equal(t, http.StatusOK, c.Metadata(t.Context()).Status)
	require.Len(t, h.asked, 2)
	h.mu.Lock()
	h.good, h.calls = "none", 0
	h.answer = func(w http.ResponseWriter, _ int) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write([]byte(`{"access_token":"other","token_type":"bearer"}`))
	}
	h.mu.Unlock()
	a := c.Metadata(t.Context())
	require.Equal(t, http.StatusUnauthorized, a.Status)
	require.Equal(t, target.Auth, a.Reaction(time.Now()).Class)
	require.Equal(t, 2, h.calls)
}

func TestWhyThereIsNoToken(t *testing.T) {
	t.Parallel()
	const secret = "HTESTsecret"
	for name, c := range map[string]struct {
		status int
		body   string
		want   string
		class  target.Class
	}{
		"unknown client":   {401, `{"error":"invalid_client","error_description":"HTESTsecret"}`, "invalid_client", target.Auth},
		"scopes":           {400, `{"error":"invalid_scope"}`, "does not grant the scopes", target.Auth},
		"an own code":      {400, `{"error":"HTESTsecret"}`, "answers 400", target.Auth},
		"a page":           {404, `<html>HTESTsecret</html>`, "answers 404", target.Auth},
		"another place":    {302, ``, "answers 302", target.Auth},
		"busy":             {429, `{}`, "answers 429", target.Retry},
		"out of order":     {503, `HTESTsecret`, "answers 503", target.Retry},
		"no token":         {200, `{"token_type":"bearer"}`, "no usable answer", target.Retry},
		"no JSON":          {200, `HTESTsecret`, "no usable answer", target.Retry},
		"a page, politely": {200, `<html>`, "no usable answer", target.Retry},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHospital(t)
			h.answer = func(w http.ResponseWriter, _ int) {
				w.Header().Set("Location", "/elsewhere")
				w.Header().Set("Content-Type", "application/json")
				w.WriteHeader(c.status)
				_, _ = w.Write([]byte(c.body))
			}
			a := h.client(t, signin.Settings{Secret: secret}).Metadata(t.Context())
			require.ErrorContains(t, a.Err, c.want)
			require.NotContains(t, a.Err.Error(), secret)
			require.NotContains(t, a.Err.Error(), h.URL)
			require.True(t, a.NotSent)
			require.Zero(t, h.calls)
			require.Equal(t, c.class, a.Reaction(time.Now()).Class)
		})
	}
	h := newHospital(t)
	client := h.client(t, signin.Settings{Secret: secret})
	h.Close()
	a := client.Metadata(t.Context())
	require.ErrorContains(t, a.Err, "no answer")
	require.Equal(t, target.Retry, a.Reaction(time.Now()).Class)
}

func TestATargetThatNamesNoTokenEndpoint(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]string{
		`{}`: "names no token endpoint", `<html>`: "names no token endpoint",
		`{"token_endpoint":"http://auth.hospital.example/token"}`:          "not https",
		`{"token_endpoint":"https://user:pw@auth.hospital.example/token"}`: "not https",
	} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(body)) }))
		source, err := signin.New(s.URL, signin.Settings{ClientID: "c", Secret: "s"})
		require.NoError(t, err)
		_, err = source.Token(t.Context())
		require.ErrorContains(t, err, want)
		var e *fhirserver.SignInError
		require.ErrorAs(t, err, &e)
		require.True(t, e.Refused)
		s.Close()
	}
}

func TestSettingsThatCannotWork(t *testing.T) {
	t.Parallel()
	good := keys(t)["ES384"]
	small, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	for want, s := range map[string]signin.Settings{
		"client id":            {Secret: "s"},
		"key or a client secr": {ClientID: "c"},
		"not both":             {ClientID: "c", Secret: "s", Key: good},
		"key id":               {ClientID: "c", Secret: "s", KeyID: "k"},
		"P-384":                {ClientID: "c", Key: small},
		"not https":            {ClientID: "c", Secret: "s", TokenURL: "http://auth.hospital.example/token"},
	} {
		_, err := signin.New("https://fhir.hospital.example", s)
		require.ErrorContains(t, err, want)
	}
}

func TestKeysOfEveryForm(t *testing.T) {
	t.Parallel()
	for _, key := range keys(t) {
		forms := map[string][]byte{}
		var err error
		forms["PRIVATE KEY"], err = x509.MarshalPKCS8PrivateKey(key)
		require.NoError(t, err)
		switch k := key.(type) {
		case *rsa.PrivateKey:
			forms["RSA PRIVATE KEY"] = x509.MarshalPKCS1PrivateKey(k)
		case *ecdsa.PrivateKey:
			forms["EC PRIVATE KEY"], err = x509.MarshalECPrivateKey(k)
			require.NoError(t, err)
		}
		for kind, body := range forms {
			got, err := signin.ReadKey(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: body}))
			require.NoError(t, err, kind)
			require.Equal(t, key.Public(), got.Public())
			_, err = signin.ReadKey(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: body[:20]}))
			require.ErrorContains(t, err, "cannot be read")
		}
	}
	for text, want := range map[string]string{
		"":            "no PEM block",
		"HTESTsecret": "no PEM block",
		string(pem.EncodeToMemory(&pem.Block{Type: "ENCRYPTED PRIVATE KEY", Bytes: []byte("x")})): "not encrypted",
	} {
		_, err := signin.ReadKey([]byte(text))
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), "HTEST")
	}
}
