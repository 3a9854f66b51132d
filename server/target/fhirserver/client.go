// Package fhirserver speaks FHIR R4 REST to one target.
//
// It promises that no error, log line or returned diagnostics holds a URL with
// a query, a body or an identifier, that no answer larger than a limit is read,
// that no redirect is followed (a redirect would carry patient data elsewhere),
// and that each attempt has an X-Request-Id of its own, by which the people at
// the other end find it. It judges nothing: it returns what came.
package fhirserver

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"enbloc/server/target"
)

// Config says where a target is and who we are there.
type Config struct {
	// BaseURL is the FHIR base, http or https, with or without a slash at its end.
	BaseURL string
	// Bearer is sent as a bearer token; Username and Password as basic
	// credentials; Tokens gives tokens that end and are renewed. At most one of
	// the three kinds.
	Bearer             string
	Tokens             TokenSource
	Username, Password string
	// SearchInURL lets identifiers of the hospital's stand in a URL where the target
	// takes no search by POST: only where the site has said so.
	SearchInURL bool
	// Timeout bounds one request, answer included, and, when the target accepts
	// it to be done later, the waiting for its outcome; 0 means 120 s, which is
	// above the 100 s after which one known server gives up by itself.
	Timeout time.Duration
	// MaxAnswer bounds one answer in bytes; 0 means 64 MiB.
	MaxAnswer int64
	// Transport is for tests and for own certificates; nil means [NewTransport].
	Transport http.RoundTripper
	// UserAgent names us; empty means "enbloc".
	UserAgent string
}

const (
	defaultTimeout = 120 * time.Second
	defaultAnswer  = 64 << 20
	mediaType      = "application/fhir+json"
)

// Client speaks to one target. It is safe for concurrent use.
type Client struct {
	base      *url.URL
	http      *http.Client
	bearer    string
	tokens    TokenSource
	user      *url.Userinfo
	agent     string
	maxAnswer int64
	// patience bounds the asking for the outcome of a request that was accepted.
	patience time.Duration
	// inURL: see Config.SearchInURL.
	inURL bool
	// getSearch is set once the target has shown that it knows no POST _search.
	getSearch atomic.Bool
}

// New checks the configuration and returns a client; it does not call the target.
func New(c Config) (*Client, error) {
	base, err := url.Parse(strings.TrimRight(c.BaseURL, "/"))
	if err != nil || base.Host == "" || (base.Scheme != "http" && base.Scheme != "https") {
		return nil, errors.New("reading target address: it must read http://host/path or https://host/path")
	}
	if base.User != nil || base.RawQuery != "" || base.Fragment != "" {
		return nil, errors.New("reading target address: leave out credentials, query and fragment")
	}
	if kinds := count(c.Bearer != "", c.Username != "", c.Tokens != nil); kinds > 1 {
		return nil, errors.New("reading target credentials: give a bearer token, basic credentials or a client that signs in, and only one of them")
	}
	client := &Client{base: base, bearer: c.Bearer, tokens: c.Tokens, agent: c.UserAgent, maxAnswer: c.MaxAnswer, inURL: c.SearchInURL}
	if c.Username != "" {
		client.user = url.UserPassword(c.Username, c.Password)
	}
	if client.agent == "" {
		client.agent = "enbloc"
	}
	if client.maxAnswer <= 0 {
		client.maxAnswer = defaultAnswer
	}
	client.http = httpClient(c)
	client.patience = client.http.Timeout
	return client, nil
}

func httpClient(c Config) *http.Client {
	timeout, transport := c.Timeout, c.Transport
	if timeout <= 0 {
		timeout = defaultTimeout
	}
	if transport == nil {
		transport = NewTransport(nil)
	}
	return &http.Client{Timeout: timeout, Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// NewTransport reuses connections and believes certificates that lead to one of
// the roots; nil means those of this machine.
func NewTransport(roots *x509.CertPool) *http.Transport {
	return &http.Transport{
		Proxy:                 http.ProxyFromEnvironment,
		DialContext:           (&net.Dialer{Timeout: 10 * time.Second, KeepAlive: 30 * time.Second}).DialContext,
		TLSClientConfig:       &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots},
		TLSHandshakeTimeout:   10 * time.Second,
		MaxIdleConns:          64,
		MaxIdleConnsPerHost:   32,
		IdleConnTimeout:       90 * time.Second,
		ExpectContinueTimeout: time.Second,
	}
}

// Timeout bounds one request, answer included.
func (c *Client) Timeout() time.Duration { return c.patience }

// BaseURL is the FHIR base without a slash at its end.
func (c *Client) BaseURL() string { return c.base.String() }

// Roots are the certificates that a target's may be signed by; nil means those
// of this machine.
func (c *Client) Roots() *x509.CertPool {
	if t, ok := c.http.Transport.(*http.Transport); ok && t.TLSClientConfig != nil {
		return t.TLSClientConfig.RootCAs
	}
	return nil
}

// Answer is what came back for one request.
type Answer struct {
	// Status is 0 when no answer came.
	Status int
	Header http.Header
	Body   []byte
	// RequestID is the X-Request-Id that was sent.
	RequestID string
	Duration  time.Duration
	// Err is set when no answer, or half an answer, came. Its text names the
	// kind of trouble only.
	Err error
	// NotSent is true when it is certain that the request did not reach the
	// target (refused connection, unknown host).
	NotSent bool
	// SignIn is set when the request was not sent because there is no token.
	SignIn *SignInError
}

// Reaction judges the answer by the one table.
func (a Answer) Reaction(now time.Time) target.Reaction {
	if a.SignIn != nil && a.SignIn.Refused {
		return target.Reaction{Class: target.Auth}
	}
	if a.NotSent {
		return target.Reaction{Class: target.Retry}
	}
	if a.Err != nil {
		return target.Reaction{Class: target.Unknown}
	}
	var issues target.Issues
	if a.Status >= http.StatusBadRequest { // of a success they change nothing, and its body may be large
		issues = target.ReadIssues(a.Body)
	}
	return target.React(a.Status, a.Header, issues, now)
}

// request is one call: path below the base, without a leading slash, or at a
// place of the target's that it named itself.
type request struct {
	method, path string
	at           *url.URL
	query        string
	body         []byte
	contentType  string
	header       map[string]string
}

// do makes one call. One that only reads is made again when its answer is
// broken: a case is read back by many calls, and to begin all of them anew for
// each broken one could go on for ever.
func (c *Client) do(ctx context.Context, r request) Answer {
	a := c.signedIn(ctx, r)
	for try := 1; try < readings && r.reads() && ctx.Err() == nil; try++ {
		wait, again := a.again(time.Now())
		if !again {
			break
		}
		pause := time.NewTimer(max(wait, time.Duration(try)*readPause))
		select {
		case <-pause.C:
			a = c.signedIn(ctx, r)
		case <-ctx.Done():
			pause.Stop()
		}
	}
	if a.Status == http.StatusAccepted && a.Err == nil && !r.reads() {
		return c.outcome(ctx, r, a)
	}
	return a
}

const (
	readings  = 4
	readPause = 50 * time.Millisecond
	// shortWait is the longest that a target may ask a reader to wait in place.
	shortWait = 3 * time.Second
)

func (r request) reads() bool {
	return r.method == http.MethodGet || strings.HasSuffix(r.path, "/_search")
}

// again reports whether a second call could mend an answer to a read at once:
// it broke off, is a page of some proxy, is a mistake of the server, speaks of a
// conflict, which reading cannot meet, or asks for a short wait. One that asks
// for a long wait, for an unknown one, or for other credentials is none of these.
func (a Answer) again(now time.Time) (wait time.Duration, again bool) {
	switch a.Status {
	case http.StatusInternalServerError, http.StatusBadGateway, http.StatusConflict, http.StatusPreconditionFailed:
		return 0, true
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		wait = target.RetryAfter(a.Header, now)
		return wait, wait > 0 && wait <= shortWait
	}
	return 0, (a.Err != nil && !a.NotSent) || (a.Status == http.StatusOK && strings.HasPrefix(a.Header.Get("Content-Type"), "text/html"))
}

func (c *Client) once(ctx context.Context, r request, token string) Answer {
	a := Answer{RequestID: newRequestID()}
	req, err := c.build(ctx, r, a.RequestID, token)
	if err != nil {
		a.Err, a.NotSent = errors.New("building request: the path is malformed"), true
		return a
	}
	start := time.Now()
	defer func() { a.Duration = time.Since(start) }()
	defer Outside(ctx)()
	res, err := c.http.Do(req)
	if err != nil {
		a.Err, a.NotSent = trouble(r.method, err), neverSent(err)
		a.Duration = time.Since(start)
		return a
	}
	defer res.Body.Close()
	a.Status, a.Header = res.StatusCode, res.Header
	a.Body, err = io.ReadAll(io.LimitReader(res.Body, c.maxAnswer+1))
	switch {
	case err != nil:
		a.Err = fmt.Errorf("reading answer: %w", trouble(r.method, err))
	case int64(len(a.Body)) > c.maxAnswer:
		a.Body, a.Err = nil, errors.New("reading answer: it is larger than the limit")
	}
	a.Duration = time.Since(start)
	return a
}

func (c *Client) build(ctx context.Context, r request, id, token string) (*http.Request, error) {
	u := c.place(r)
	var body io.Reader
	if r.body != nil {
		body = bytes.NewReader(r.body)
	}
	req, err := http.NewRequestWithContext(ctx, r.method, u.String(), body)
	if err != nil {
		return nil, err
	}
	req.Header.Set("Accept", mediaType)
	req.Header.Set("User-Agent", c.agent)
	req.Header.Set("X-Request-Id", id)
	if r.body != nil {
		req.Header.Set("Content-Type", r.contentType)
	}
	for k, v := range r.header {
		req.Header.Set(k, v)
	}
	switch {
	case token != "":
		req.Header.Set("Authorization", "Bearer "+token)
	case c.user != nil:
		password, _ := c.user.Password()
		req.SetBasicAuth(c.user.Username(), password)
	}
	return req, nil
}

func (c *Client) place(r request) url.URL {
	if r.at != nil {
		return *r.at
	}
	u := *c.base
	if r.path != "" {
		u = *c.base.JoinPath(r.path)
	}
	u.RawQuery = r.query
	return u
}

// trouble names the kind of a transport error. The error itself holds the URL.
func trouble(method string, err error) error {
	var network net.Error
	switch {
	case errors.Is(err, context.Canceled):
		return fmt.Errorf("calling target (%s): %w", method, context.Canceled)
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("calling target (%s): no answer in time", method)
	case neverSent(err):
		return fmt.Errorf("calling target (%s): no connection", method)
	}
	return fmt.Errorf("calling target (%s): the connection broke", method)
}

// neverSent is true for errors that arise before the first byte leaves.
func neverSent(err error) bool {
	var op *net.OpError
	var dns *net.DNSError
	return errors.As(err, &dns) || (errors.As(err, &op) && op.Op == "dial")
}

func newRequestID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // crypto/rand.Read never fails since Go 1.24
	return hex.EncodeToString(b[:])
}
