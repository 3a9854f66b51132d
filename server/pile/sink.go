package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// remembered is how many transactions the sink remembers. A delivery reads back
// what it wrote at once, so a few hundred are far more than are under way.
const remembered = 256

// sink is a target that answers rightly and forgets: however many cases come, it
// needs the same memory, and what it costs is the same for the last as for the
// first. It knows every patient and has one of whatever is searched for.
type sink struct {
	address string
	server  *http.Server

	mu     sync.Mutex
	count  int                 // transactions so far
	ring   [remembered]*bundle // by count
	newest map[string]*bundle  // "Type/id" → where it was written last

	// refused counts requests that it has no answer to: what was forgotten, and
	// what it was never made for. One is one too many.
	refused atomic.Int64
}

// bundle is a transaction as it came, and where its resources went.
type bundle struct {
	body   []byte
	number int
	places []string // "Type/id", by entry
	once   sync.Once
	parts  map[string]string // resources by place, once somebody asks
}

func openSink(ctx context.Context) (*sink, error) {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("opening sink: %w", err)
	}
	s := &sink{address: "http://" + listener.Addr().String() + "/fhir", newest: map[string]*bundle{}}
	s.server = &http.Server{Handler: s, ReadHeaderTimeout: time.Minute}
	go s.server.Serve(listener) //nolint:errcheck // its end is asked for
	return s, nil
}

func (s *sink) close() { _ = s.server.Close() }

func (s *sink) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/fhir+json")
	place := strings.Trim(strings.TrimPrefix(r.URL.Path, "/fhir"), "/")
	kind, search := strings.CutSuffix(place, "/_search")
	body, err := io.ReadAll(r.Body)
	var answer string
	ok := err == nil
	switch {
	case search:
		answer = `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"` + kind + `","id":"1"}}]}`
	case r.Method == http.MethodPost && place == "":
		answer, ok = s.take(body)
	case r.Method == http.MethodGet:
		answer, ok = s.give(place)
	default:
		ok = false
	}
	if !ok {
		s.refused.Add(1)
		w.WriteHeader(http.StatusNotImplemented)
		return
	}
	_, _ = io.WriteString(w, answer)
}

// The frame that enbloc writes around resources. A target that decoded JSON would
// cost more than the program that is measured.
const (
	opening  = `{"fullUrl":"`
	resource = `","resource":`
	request  = `,"request":{"method":"`
	address  = `","url":"`
)

// take answers a transaction of creates and updates.
func (s *sink) take(body []byte) (string, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count++
	b := &bundle{body: body, number: s.count}
	var out strings.Builder
	out.WriteString(`{"resourceType":"Bundle","type":"transaction-response","entry":[`)
	for rest := body; ; {
		_, after, found := bytes.Cut(rest, []byte(request))
		if !found {
			break
		}
		rest = after
		method, after, _ := bytes.Cut(rest, []byte(address))
		url, after, _ := bytes.Cut(after, []byte(`"`))
		place, status, version := string(url), "200 OK", 1+versionIn(after)
		switch string(method) {
		case http.MethodPost:
			place, status, version = fmt.Sprintf("%s/%d-%d", url, b.number, len(b.places)), "201 Created", 1
		case http.MethodPut:
		default:
			return "", false
		}
		if len(b.places) > 0 {
			out.WriteByte(',')
		}
		fmt.Fprintf(&out, `{"response":{"status":"%s","location":"%s/_history/%d","etag":"W/\"%d\""}}`, status, place, version, version)
		b.places = append(b.places, place)
		s.newest[place] = b
	}
	out.WriteString(`]}`)
	s.remember(b)
	return out.String(), len(b.places) > 0
}

// remember takes the place of the oldest transaction, which is forgotten.
func (s *sink) remember(b *bundle) {
	slot := &s.ring[b.number%remembered]
	if old := *slot; old != nil {
		for _, place := range old.places {
			if s.newest[place] == old {
				delete(s.newest, place)
			}
		}
	}
	*slot = b
}

// versionIn is the version that an update is made on, from the text behind its
// address; 0 when it names none.
func versionIn(after []byte) int {
	end := bytes.IndexByte(after, '}')
	_, tag, found := bytes.Cut(after[:max(end, 0)], []byte(`"ifMatch":"W/\"`))
	if !found {
		return 0
	}
	digits, _, _ := bytes.Cut(tag, []byte(`\`))
	n, err := strconv.Atoi(string(digits))
	if err != nil {
		return 0
	}
	return n
}

// give is what stands at a place.
func (s *sink) give(place string) (string, bool) {
	s.mu.Lock()
	b := s.newest[place]
	s.mu.Unlock()
	if b == nil {
		return "", false
	}
	b.once.Do(b.takeApart)
	body, ok := b.parts[place]
	return body, ok
}

// takeApart cuts the bundle at its frame, and puts places for the urn: references
// between its resources, as a server does.
func (b *bundle) takeApart() {
	b.parts = make(map[string]string, len(b.places))
	var links []string
	entries := strings.Split(string(b.body), opening)[1:]
	for i, e := range entries {
		link, _, _ := strings.Cut(e, resource)
		links = append(links, link, b.places[i])
	}
	linked := strings.NewReplacer(links...)
	for i, e := range entries {
		_, rest, _ := strings.Cut(e, resource)
		body, after, _ := strings.Cut(rest, request)
		_, id, _ := strings.Cut(b.places[i], "/")
		version := 1
		if !strings.HasPrefix(body, `{"id":"`) {
			body = `{"id":"` + id + `",` + body[1:]
		} else {
			version += versionIn([]byte(after))
		}
		body = strings.Replace(body, `"meta":{`, `"meta":{"versionId":"`+strconv.Itoa(version)+`",`, 1)
		b.parts[b.places[i]] = linked.Replace(body)
	}
}
