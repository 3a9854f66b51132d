package fhirserver

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"enbloc/server/target"
)

// Between two questions for an outcome, where the target does not say.
const (
	firstPoll   = 200 * time.Millisecond
	longestPoll = 15 * time.Second
)

// outcome asks for the outcome of a request that was accepted to be done later
// (https://hl7.org/fhir/R4/async.html): 202 with the place in Content-Location,
// asked as often as the target likes until there is another answer. Without such
// an answer in time what comes back is the 202: the target may have done it.
func (c *Client) outcome(ctx context.Context, r request, accepted Answer) Answer {
	place := accepted.Header.Get("Content-Location")
	if place == "" {
		return accepted
	}
	at, err := c.own(r, place)
	if err != nil {
		accepted.Err = err
		return accepted
	}
	ctx, cancel := context.WithTimeout(ctx, c.patience)
	defer cancel()
	start := time.Now()
	told := target.RetryAfter(accepted.Header, start)
	for pause := firstPoll; rest(ctx, cmp.Or(told, pause)); pause = min(2*pause, longestPoll) {
		poll := c.do(ctx, request{method: http.MethodGet, at: at, header: noCache()})
		accepted.Duration = time.Since(start)
		if ctx.Err() != nil {
			break
		}
		if poll.Err != nil {
			accepted.Err = fmt.Errorf("asking for the outcome of an accepted request: %w", poll.Err)
			return accepted
		}
		reaction := target.Polled(poll.Status, poll.Header, target.ReadIssues(poll.Body), time.Now())
		switch reaction.Class {
		case target.Retry:
			told = reaction.After
			accepted.Header = poll.Header
			continue
		case target.Unknown:
			accepted.Err = fmt.Errorf("asking for the outcome of an accepted request: the answer was %d", poll.Status)
			return accepted
		}
		return unwrapped(r, Answer{Status: poll.Status, Header: poll.Header, Body: poll.Body, RequestID: accepted.RequestID, Duration: accepted.Duration})
	}
	return accepted
}

// own is a place that the target names, if it is on the target itself: it comes
// from outside, and credentials go nowhere else.
func (c *Client) own(r request, place string) (*url.URL, error) {
	from := c.place(r)
	at, err := from.Parse(place)
	if err != nil || at.User != nil || at.Scheme != c.base.Scheme || !strings.EqualFold(host(at), host(c.base)) {
		return nil, errors.New("asking for the outcome of an accepted request: the place for it is not on the target")
	}
	at.Fragment = ""
	return at, nil
}

// host is the host with its port, also where that is the usual one.
func host(u *url.URL) string {
	return u.Hostname() + ":" + cmp.Or(u.Port(), map[string]string{"http": "80", "https": "443"}[u.Scheme])
}

// rest waits, unless there is no time for it.
func rest(ctx context.Context, d time.Duration) bool {
	if end, bounded := ctx.Deadline(); bounded && time.Until(end) < d {
		return false
	}
	defer Outside(ctx)()
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// unwrapped takes an outcome out of the Bundle with one entry in which R5 sends
// it (https://hl7.org/fhir/R5/async-bundle.html); one that came as it would have
// at once stays as it is.
func unwrapped(r request, a Answer) Answer {
	var b struct {
		ResourceType, Type string
		Entry              []struct {
			Resource json.RawMessage
			Response struct {
				Status, Location, Etag string
				Outcome                json.RawMessage
			}
		}
	}
	if json.Unmarshal(a.Body, &b) != nil || b.ResourceType != "Bundle" || (b.Type != "batch-response" && b.Type != "async-response") || len(b.Entry) != 1 {
		return a
	}
	e := b.Entry[0]
	code, _, _ := strings.Cut(strings.TrimSpace(e.Response.Status), " ")
	status, _ := strconv.Atoi(code)
	inner, _ := ReadMeta(e.Resource)
	if r.method == http.MethodPost && r.path == "" && inner.Type != "Bundle" && status < http.StatusBadRequest {
		return a // the answer itself, to a transaction with one entry
	}
	a.Status, a.Header, a.Body = cmp.Or(status, a.Status), a.Header.Clone(), e.Resource
	if len(e.Resource) == 0 {
		a.Body = e.Response.Outcome
	}
	for name, value := range map[string]string{"Location": e.Response.Location, "ETag": e.Response.Etag} {
		a.Header.Del(name)
		if value != "" {
			a.Header.Set(name, value)
		}
	}
	return a
}
