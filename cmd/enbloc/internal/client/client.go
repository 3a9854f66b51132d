// Package client asks a running service over its HTTP API.
//
// It promises that no token goes anywhere but to the address it was made for
// (redirects are not followed) and that an error never quotes a URL or what was
// sent.
package client

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"enbloc/mapping/report"
)

// Client asks one service. It is safe for concurrent use.
type Client struct {
	base  string
	token string
	http  *http.Client
}

// requestTimeout bounds one request, and maxAnswer what is read of its answer.
const (
	requestTimeout = 60 * time.Second
	maxAnswer      = 64 << 20
)

// New returns a client for the service at the address, such as
// http://127.0.0.1:8700; the token may be empty. It calls nobody.
func New(address, token string) (*Client, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, errors.New("the address of the service is not a URL such as http://127.0.0.1:8700")
	}
	return &Client{
		base: strings.TrimRight(address, "/"), token: token,
		http: &http.Client{Timeout: requestTimeout, CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse
		}},
	}, nil
}

// Refusal is an answer that is no success, in the service's own words.
type Refusal struct {
	Status   int
	Title    string           `json:"title"`
	Detail   string           `json:"detail"`
	Findings []report.Finding `json:"findings"`
}

func (r *Refusal) Error() string {
	text := strings.TrimSpace(r.Title + ": " + r.Detail)
	if r.Detail == "" {
		text = strings.TrimSuffix(text, ":")
	}
	return fmt.Sprintf("the service answered %d %s", r.Status, text)
}

// Get asks for path and decodes the JSON answer into out.
func (c *Client) Get(ctx context.Context, path string, out any) error {
	_, err := c.do(ctx, http.MethodGet, path, nil, out)
	return err
}

// Post sends a JSON body (nil for none) to path, decodes the JSON answer into
// out (nil to drop it) and returns the status.
func (c *Client) Post(ctx context.Context, path string, body []byte, out any) (int, error) {
	return c.do(ctx, http.MethodPost, path, body, out)
}

func (c *Client) do(ctx context.Context, method, path string, body []byte, out any) (int, error) {
	req, err := http.NewRequestWithContext(ctx, method, c.base+path, bytes.NewReader(body))
	if err != nil {
		return 0, fmt.Errorf("making request: %w", withoutURL(err))
	}
	req.Header.Set("Accept", "application/json")
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	res, err := c.http.Do(req)
	if err != nil {
		return 0, fmt.Errorf("asking the service at %s: %w", c.base, withoutURL(err))
	}
	defer res.Body.Close() //nolint:errcheck // read to its end or given up
	raw, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil {
		return res.StatusCode, fmt.Errorf("reading the service's answer: %w", withoutURL(err))
	}
	if res.StatusCode >= http.StatusMultipleChoices {
		return res.StatusCode, refusal(res.StatusCode, raw)
	}
	if out == nil {
		return res.StatusCode, nil
	}
	if err := json.Unmarshal(raw, out); err != nil {
		return res.StatusCode, fmt.Errorf("reading the answer of %s: it is not what enbloc answers; is another program running there?", c.base)
	}
	return res.StatusCode, nil
}

// refusal reads a problem document (RFC 9457); an answer that is none is told
// by its status alone.
func refusal(status int, raw []byte) *Refusal {
	r := &Refusal{}
	if json.Unmarshal(raw, r) != nil || r.Title == "" {
		r = &Refusal{Title: http.StatusText(status)}
	}
	r.Status = status
	return r
}

// withoutURL drops the method and URL that net/http puts before its errors.
func withoutURL(err error) error {
	var e *url.Error
	if errors.As(err, &e) {
		return e.Err
	}
	return err
}
