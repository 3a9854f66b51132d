package service

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net/http"

	"enbloc/server/target/fhirserver"
	"enbloc/server/target/signin"
)

// SignIn are the fields of a Config for a target whose tokens end: OAuth 2.0
// client credentials, as [signin] has them. Without a ClientID none counts.
type SignIn struct {
	// ClientID is our name at the authorisation server.
	ClientID string
	// ClientKeyFile is a private key in PEM (RSA or P-384), and ClientKeyID its
	// name at the authorisation server; ClientSecret goes instead of it.
	ClientKeyFile, ClientKeyID, ClientSecret string
	// TokenURL is the token endpoint. Empty: the one that the target's
	// smart-configuration names.
	TokenURL string
	// Scope is what is asked for. Empty: signin.DefaultScope.
	Scope string
}

// maxPEM bounds files of keys and certificates in bytes.
const maxPEM = 1 << 20

// tokens is where the target's tokens come from; nil when they do not end.
func (c *Config) tokens(transport http.RoundTripper) (fhirserver.TokenSource, error) {
	if c.ClientID == "" {
		return nil, nil
	}
	settings := signin.Settings{TokenURL: c.TokenURL, ClientID: c.ClientID, Secret: c.ClientSecret, KeyID: c.ClientKeyID, Scope: c.Scope, Transport: transport}
	if c.ClientKeyFile != "" {
		raw, err := readBounded(c.ClientKeyFile, maxPEM)
		if err != nil {
			return nil, fmt.Errorf("reading private key: %w", err)
		}
		if settings.Key, err = signin.ReadKey(raw); err != nil {
			return nil, fmt.Errorf("reading private key %s: %w", c.ClientKeyFile, err)
		}
	}
	source, err := signin.New(c.Target, settings)
	if err != nil {
		return nil, err
	}
	return source, nil
}

// roots are the certificates that a target's may be signed by; nil means those
// of this machine.
func (c *Config) roots() (*x509.CertPool, error) {
	if c.CAFile == "" {
		return nil, nil
	}
	raw, err := readBounded(c.CAFile, maxPEM)
	if err != nil {
		return nil, fmt.Errorf("reading certificates: %w", err)
	}
	roots, err := x509.SystemCertPool()
	if err != nil {
		roots = x509.NewCertPool()
	}
	if !roots.AppendCertsFromPEM(raw) {
		return nil, errors.New("reading certificates: " + c.CAFile + " holds none in PEM")
	}
	return roots, nil
}
