package preflight

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"enbloc/server/practice"
	"enbloc/server/target/fhirserver"
)

// Days before the end of a certificate at which it becomes a warning and a
// failure; a renewal in a hospital takes weeks (common practice, no source).
const (
	certificateWarn = 30
	certificateFail = 3
)

// skewWarn is how far clocks may be apart. A signed token with a lifetime of at
// most five minutes (SMART App Launch 2.2, asymmetric client authentication) is
// refused when they are further.
const skewWarn = 2 * time.Minute

// connection checks the way to the server, and returns false when there is none.
func (r *run) connection(ctx context.Context) bool {
	u, err := url.Parse(r.Client.BaseURL())
	if err != nil { // the client has read it already
		return false
	}
	if r.timed(GroupConnection, "dns", "Name", func() (Status, string, string) { return lookUp(ctx, u.Hostname()) }) == Fail {
		return false
	}
	r.timed(GroupConnection, "proxy", "Proxy", func() (Status, string, string) { return proxy(u) })
	if r.timed(GroupConnection, "tls", "Encryption", func() (Status, string, string) { return r.encryption(ctx, u) }) == Fail {
		return false
	}
	if err := r.signIn(ctx); err != nil {
		r.clockOfRefusal(err)
		return false
	}
	return r.metadata(ctx)
}

// signIn gets a token as delivery does, and holds what it is good for against
// what delivery needs. The error says why there is no token.
func (r *run) signIn(ctx context.Context) error {
	grant, signs, err := r.Client.SignIn(ctx)
	if !signs {
		return nil
	}
	r.timed(GroupConnection, "sign-in", "Signing in", func() (Status, string, string) {
		if err != nil {
			return Fail, "No token: " + reason(err) + ".", "Check client id, key or secret, token endpoint and scopes with those who run the authorisation server."
		}
		found := "A token was granted"
		if !grant.Until.IsZero() {
			found += fmt.Sprintf(", good for %s", time.Until(grant.Until).Round(time.Second))
		}
		if without := unscoped(grant.Scopes); len(grant.Scopes) > 0 && len(without) > 0 {
			return Warn, found + ", without the right to write " + some(without, len(types)) + ".", "Ask for these scopes for the client."
		}
		return Pass, found + ".", ""
	})
	return err
}

func lookUp(ctx context.Context, host string) (Status, string, string) {
	addresses, err := net.DefaultResolver.LookupHost(ctx, host)
	if err != nil {
		return Fail, "The name " + host + " has no address.", "Check the name in the address of the target, and the name server of this machine."
	}
	return Pass, fmt.Sprintf("%s has %d address(es).", host, len(addresses)), ""
}

func proxy(u *url.URL) (Status, string, string) {
	p, err := http.ProxyFromEnvironment(&http.Request{URL: u})
	switch {
	case err != nil:
		return Warn, "The environment names a proxy that cannot be read.", "Check HTTPS_PROXY, HTTP_PROXY and NO_PROXY."
	case p == nil:
		return Info, "No proxy is used.", ""
	}
	return Info, "Calls go through the proxy " + p.Hostname() + ".", ""
}

// encryption makes one TLS handshake of its own, to see the certificate. With a
// proxy in between the certificate is that of the first call.
func (r *run) encryption(ctx context.Context, u *url.URL) (Status, string, string) {
	local := net.ParseIP(u.Hostname()).IsLoopback() || u.Hostname() == "localhost"
	switch {
	case u.Scheme == "http" && local:
		return Info, "Plain HTTP, within this machine.", ""
	case u.Scheme == "http":
		return Warn, "Plain HTTP: whoever is on the network reads the records.", "Have the server reached by https."
	}
	port := u.Port()
	if port == "" {
		port = "443"
	}
	dialer := tls.Dialer{NetDialer: &net.Dialer{Timeout: 10 * time.Second}, Config: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: r.Client.Roots()}}
	conn, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(u.Hostname(), port))
	if err != nil {
		return Fail, "No encrypted connection: " + handshake(err) + ".", "Check the certificate chain, the name in it, and that TLS 1.2 or later is offered."
	}
	defer conn.Close() //nolint:errcheck // nothing was written
	state := conn.(*tls.Conn).ConnectionState()
	end := state.PeerCertificates[0].NotAfter
	days := int(end.Sub(r.Clock()).Hours() / 24)
	found := fmt.Sprintf("%s, certificate good for %d days (until %s).", tls.VersionName(state.Version), days, end.UTC().Format(time.DateOnly))
	switch {
	case days < certificateFail:
		return Fail, found, "Have the certificate renewed now."
	case days < certificateWarn:
		return Warn, found, "Have the certificate renewed."
	}
	return Pass, found, ""
}

// handshake keeps the kind of an error: its text can hold addresses.
func handshake(err error) string {
	text := err.Error()
	for _, known := range []string{"certificate has expired", "unknown authority", "certificate is valid for", "protocol version", "connection refused", "timeout"} {
		if strings.Contains(text, known) {
			return known
		}
	}
	return "the handshake failed"
}

// metadata is the first call: it tells whether we get in, the clock of the
// other side, and whether it is a practice receiver.
func (r *run) metadata(ctx context.Context) bool {
	a := r.saw("capabilities", r.Client.Metadata(ctx))
	status := r.timed(GroupConnection, "metadata", "First answer", func() (Status, string, string) {
		switch {
		case a.NotSent:
			return Fail, "There is no connection.", "Check address and port, the firewall, and that the server runs."
		case a.Err != nil:
			return Fail, "No usable answer came.", "Check that the address is that of a FHIR server and not of a page or a proxy."
		case a.Status == http.StatusUnauthorized || a.Status == http.StatusForbidden:
			return Fail, fmt.Sprintf("The server does not let us in (%d).", a.Status), "Check token or password and what they allow."
		case a.Status != http.StatusOK:
			return Fail, fmt.Sprintf("The server answers %d to GET metadata.", a.Status), "Check the address: it must be the FHIR base, below which /metadata is."
		}
		return Pass, fmt.Sprintf("The server answers, in %d ms.", a.Duration.Milliseconds()), ""
	})
	if status == Fail {
		return false
	}
	r.clock("The server", a.Header.Get("Date"))
	if a.Header.Get(practice.Header) != "" {
		r.Write = true
		r.add(Check{ID: "practice", Group: GroupConnection, Title: "Practice", Status: Info, Found: "This is a practice receiver; everything may be tried on it."})
	}
	return r.readClaims(a.Body)
}

// reason is what a sign-in failed of.
func reason(err error) string {
	var e *fhirserver.SignInError
	if errors.As(err, &e) {
		return e.Cause.Error()
	}
	return "it could not be fetched"
}

// clockOfRefusal looks at the clock of an authorisation server that gave no
// token: a clock that is wrong is a likely cause, and its refusal does not say so.
func (r *run) clockOfRefusal(err error) {
	var e *fhirserver.SignInError
	if errors.As(err, &e) && e.Date != "" {
		r.clock("The authorisation server", e.Date)
	}
}

// clock holds the time that a server says, as an HTTP date, against ours.
func (r *run) clock(whose, date string) {
	r.timed(GroupConnection, "clock", "Clocks", func() (Status, string, string) {
		theirs, err := http.ParseTime(date)
		if err != nil {
			return Info, whose + " does not say what time it has.", ""
		}
		skew := theirs.Sub(r.Clock()).Round(time.Second)
		found := fmt.Sprintf("%s's clock differs by %s.", whose, skew.Abs())
		if skew.Abs() > skewWarn {
			return Warn, found, "Set both clocks by a time server: signed tokens are refused when clocks differ, and the order of events becomes wrong."
		}
		return Pass, found, ""
	})
}
