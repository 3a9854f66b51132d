// Package signin gets the access token of a target and renews it in time: OAuth
// 2.0 client credentials (RFC 6749 section 4.4), signed with a private key as
// SMART App Launch 2.2 has it for backend services
// (https://hl7.org/fhir/smart-app-launch/backend-services.html), or with a
// client secret.
//
// It promises that no error holds a token, a secret, or anything that the
// authorisation server wrote, and that neither key nor secret is sent anywhere
// but to the token endpoint.
package signin

import (
	"context"
	"crypto"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"golang.org/x/oauth2"
	"golang.org/x/oauth2/clientcredentials"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// DefaultScope is asked for when nothing else was said: scopes of SMART's first
// version, which servers of the second take too.
const DefaultScope = "system/*.read system/*.write"

// Settings say who we are at the authorisation server.
type Settings struct {
	// TokenURL is the token endpoint; empty: the one that the target's
	// smart-configuration names.
	TokenURL string
	ClientID string
	// Secret or Key, not both. Key is an RSA key, or one on P-384.
	Secret string
	Key    crypto.Signer
	// KeyID is the name of the key at the authorisation server.
	KeyID string
	// Scope is what is asked for, words apart by spaces; empty: DefaultScope.
	Scope string
	// Transport reaches the token endpoint; nil means that of net/http.
	Transport http.RoundTripper
}

// Source gives tokens. It is safe for concurrent use.
type Source struct {
	settings Settings
	base     string
	http     *http.Client
	how      jwt.SigningMethod // of an assertion; nil with a secret

	mu    sync.Mutex // held while a token is fetched: one at a time is enough
	token *oauth2.Token
	grant fhirserver.Grant
}

const (
	// patience bounds one sign-in.
	patience = 15 * time.Second
	// early is how long before its end a token counts as ended.
	early = 30 * time.Second
	// assumed is how long a token counts whose lifetime was not said. RFC 6749
	// section 5.1 leaves it open; SMART recommends five minutes at most.
	assumed = 5 * time.Minute
)

// New checks the settings for the target with a FHIR base URL; it calls nobody.
func New(base string, s Settings) (*Source, error) {
	switch {
	case s.ClientID == "":
		return nil, errors.New("signing in at the target needs a client id")
	case (s.Secret == "") == (s.Key == nil):
		return nil, errors.New("signing in at the target needs a private key or a client secret, and not both")
	case s.KeyID != "" && s.Key == nil:
		return nil, errors.New("a key id goes with a private key")
	case s.TokenURL != "":
		if err := secure(s.TokenURL); err != nil {
			return nil, err
		}
	}
	var how jwt.SigningMethod
	if s.Key != nil {
		var err error
		if how, err = method(s.Key); err != nil {
			return nil, err
		}
	}
	if s.Scope == "" {
		s.Scope = DefaultScope
	}
	// A redirect would carry secret or assertion elsewhere.
	caller := &http.Client{Transport: s.Transport, Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return &Source{settings: s, how: how, base: strings.TrimRight(base, "/"), http: caller}, nil
}

// Token is an access token that is good now.
func (s *Source) Token(ctx context.Context) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.token != nil && time.Until(s.token.Expiry) > early {
		return s.token.AccessToken, nil
	}
	t, err := s.fetch(ctx)
	if err != nil {
		return "", err
	}
	scopes, _ := t.Extra("scope").(string)
	s.grant = fhirserver.Grant{Scopes: strings.Fields(scopes), Until: t.Expiry}
	if t.Expiry.IsZero() {
		t.Expiry = time.Now().Add(assumed)
	}
	s.token = t
	return t.AccessToken, nil
}

// Grant is what the last token is good for.
func (s *Source) Grant() fhirserver.Grant {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.grant
}

// Algorithm is that of the key; empty with a secret.
func (s *Source) Algorithm() string {
	if s.how == nil {
		return ""
	}
	return s.how.Alg()
}

// Refused takes note that the target did not take a token.
func (s *Source) Refused(token string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.token != nil && s.token.AccessToken == token {
		s.token = nil
	}
}

func (s *Source) fetch(ctx context.Context) (*oauth2.Token, error) {
	ctx, cancel := context.WithTimeout(context.WithValue(ctx, oauth2.HTTPClient, s.http), patience)
	defer cancel()
	address, err := s.endpoint(ctx)
	if err != nil {
		return nil, err
	}
	c := clientcredentials.Config{ClientID: s.settings.ClientID, ClientSecret: s.settings.Secret, TokenURL: address,
		Scopes: strings.Fields(s.settings.Scope), EndpointParams: url.Values{}}
	if s.settings.Key != nil {
		assertion, err := s.assertion(address, time.Now())
		if err != nil {
			return nil, err
		}
		// With an assertion the client is named by it alone.
		c.ClientID, c.AuthStyle = "", oauth2.AuthStyleInParams
		c.EndpointParams.Set("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer")
		c.EndpointParams.Set("client_assertion", assertion)
	}
	t, err := c.Token(ctx)
	if err != nil {
		return nil, refusal(err)
	}
	return t, nil
}

// codes are the errors of RFC 6749 section 5.2; what else a server writes could
// be anything.
var codes = map[string]string{
	"invalid_request": "the request is not as it wants it", "invalid_client": "it does not know the client, its key or its secret",
	"invalid_grant": "it does not take the assertion", "unauthorized_client": "the client may not sign in this way",
	"unsupported_grant_type": "it has no client credentials", "invalid_scope": "it does not grant the scopes",
}

// refusal keeps of an error what is safe to show.
func refusal(err error) error {
	var e *oauth2.RetrieveError
	var date string
	if errors.As(err, &e) && e.Response != nil {
		date = e.Response.Header.Get("Date")
	}
	switch {
	case e != nil && codes[e.ErrorCode] != "":
		return &fhirserver.SignInError{Refused: true, Date: date, Cause: fmt.Errorf("the authorisation server refuses: %s (%s)", codes[e.ErrorCode], e.ErrorCode)}
	case e != nil && e.Response != nil:
		status := e.Response.StatusCode
		return &fhirserver.SignInError{Date: date, Refused: status >= 300 && status < 500 && status != http.StatusTooManyRequests && status != http.StatusRequestTimeout,
			Cause: fmt.Errorf("the authorisation server answers %d", status)}
	case e != nil:
		return &fhirserver.SignInError{Cause: errors.New("the authorisation server answers without a token")}
	}
	return &fhirserver.SignInError{Cause: errors.New("no usable answer of the authorisation server")}
}

// secure refuses an address to which credentials would travel unencrypted.
func secure(address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.User != nil || u.Scheme != "https" && (u.Scheme != "http" || !target.Loopback(u.Hostname())) {
		return errors.New("the token endpoint is not https://…, nor on this machine")
	}
	return nil
}
