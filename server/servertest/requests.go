package servertest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"time"

	"enbloc/mapping/graph"
	"enbloc/server/intake"
	"enbloc/server/store"
)

// Answer is what the API answered.
type Answer struct {
	Status int
	Header http.Header
	Body   []byte
}

// Do sends one request; header is a list of name and value in turn. It fails
// the test only when no answer comes.
func (s *Service) Do(method, path string, body []byte, header ...string) Answer {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, s.URL+path, bytes.NewReader(body))
	s.must(err)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if s.o.Token != "" {
		req.Header.Set("Authorization", "Bearer "+s.o.Token)
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i+1] == "" {
			req.Header.Del(header[i])
			continue
		}
		req.Header.Set(header[i], header[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	s.must(err)
	defer res.Body.Close() //nolint:errcheck // read to its end
	raw, err := io.ReadAll(res.Body)
	s.must(err)
	return Answer{res.StatusCode, res.Header, raw}
}

// Post sends a document.
func (s *Service) Post(path string, document []byte, header ...string) Answer {
	s.t.Helper()
	s.introduce(document)
	return s.Do(http.MethodPost, path, document, header...)
}

// MustAccept sends a document and fails the test unless it is accepted.
func (s *Service) MustAccept(path string, document []byte) intake.Receipt {
	s.t.Helper()
	a := s.Post(path, document)
	if a.Status != http.StatusAccepted {
		s.t.Fatalf("POST %s: %d %s", path, a.Status, a.Body)
	}
	var r intake.Receipt
	s.must(json.Unmarshal(a.Body, &r))
	return r
}

// MustGet reads an answer of 200 into out.
func (s *Service) MustGet(path string, out any) {
	s.t.Helper()
	a := s.Do(http.MethodGet, path, nil)
	if a.Status != http.StatusOK {
		s.t.Fatalf("GET %s: %d %s", path, a.Status, a.Body)
	}
	s.must(json.Unmarshal(a.Body, out))
}

// patience is how long Settle waits. The receiver needs some milliseconds; a
// server that others wrote takes about ten bundles a second on two idle cores,
// and the cores of a test run are not idle.
func (s *Service) patience() time.Duration {
	if s.o.Server != "" {
		return 15 * time.Minute
	}
	return time.Minute
}

// Settle waits until nothing is being delivered any more: every row is closed,
// or waits for something that time alone does not bring.
func (s *Service) Settle() {
	s.t.Helper()
	deadline := time.After(s.patience())
	for {
		counts, err := s.Store.OpenCounts(context.Background())
		s.must(err)
		var busy int64
		for _, c := range counts {
			if c.State != store.ParkedDelivery {
				busy += c.Rows
			}
		}
		if busy == 0 {
			return
		}
		select {
		case <-deadline:
			rows, _ := s.Store.Deliveries(context.Background(), store.DeliveryQuery{
				States: []store.DeliveryState{store.Waiting, store.Sending, store.Retrying},
			})
			for _, d := range rows {
				s.t.Logf("%s state %d %s %s %s, %d attempts, uncertain %v", d.CaseKey, d.Sequence, d.State, d.Reason, d.Details, d.Attempts, d.Uncertain)
			}
			s.t.Fatal("deliveries did not settle")
		// Each look costs the service a query, so it looks seldom while much is open.
		case <-time.After(min(max(5, time.Duration(busy)), 50) * time.Millisecond):
		}
	}
}

// Rows counts everything that an accepted document could leave behind, by
// table.
func (s *Service) Rows() map[string]int {
	s.t.Helper()
	rows := map[string]int{}
	for _, table := range []string{"cases", "documents", "document_keys", "case_keys", "states", "deliveries", "idempotency", "river_job"} {
		var n int
		//nolint:gosec // the names are the constants above
		s.must(s.Store.DB().QueryRowContext(context.Background(), "SELECT count(*) FROM "+table).Scan(&n))
		rows[table] = n
	}
	return rows
}

// Resources are those of a type that the receiver holds for a case.
func (s *Service) Resources(resourceType, caseKey string) []map[string]any {
	s.t.Helper()
	var out []map[string]any
	for _, resource := range s.Receiver.Resources(resourceType) {
		raw, err := json.Marshal(resource)
		s.must(err)
		var r struct {
			Meta struct {
				Tag []struct{ System, Code string }
			}
		}
		s.must(json.Unmarshal(raw, &r))
		for _, tag := range r.Meta.Tag {
			if tag.System == graph.CaseKeySystem && tag.Code == caseKey {
				out = append(out, resource)
			}
		}
	}
	return out
}
