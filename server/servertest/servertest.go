// Package servertest starts the real service in the process of a test: the HTTP
// API on a free port, a SQLite file of its own, the real delivery, and the
// practice receiver as the one target.
//
//	s := servertest.Start(t, servertest.Options{})
//	receipt := s.MustAccept("/cases", report)
//	s.Settle()
//	require.Len(t, s.Resources("DiagnosticReport", receipt.Case), 1)
//
// Everything is stopped and removed when the test ends. The patients of the
// documents that are sent are made known to the receiver first, as a hospital's
// other systems would have done.
package servertest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server"
	"enbloc/server/delivery"
	"enbloc/server/intake"
	"enbloc/server/practice"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// Key is the identity key of every service started here; obviously no secret.
var Key = []byte("HTEST identity key, never for patients")

// Options change what is started; the zero value is fine.
type Options struct {
	// Token asks callers for this bearer token.
	Token string
	// Database is a database other than a SQLite file of its own.
	Database string
	// LooksUp is what a preflight of Server has found about references.
	LooksUp bool
	// Log gets every log line as JSON, from all parts.
	Log io.Writer
	// Target stands before the receiver and may spoil what it says.
	Target func(receiver http.Handler) http.Handler
	// Server is the base URL of a FHIR server that others wrote; it takes the
	// receiver's place as target, and everything is read back, unless Sampled.
	Server string
	// Sampled reads back as the program does: reports, and a few of the rest.
	Sampled bool
	// Undelivered leaves the delivery service stopped: rows wait.
	Undelivered bool
	// UnknownPatients keeps patients from being made known to the receiver.
	UnknownPatients bool
}

// Service is a running service with its receiver.
type Service struct {
	URL      string // of the API, without a slash at its end
	Store    *store.Store
	Intake   *intake.Intake
	Delivery *delivery.Service
	Registry *prometheus.Registry
	Receiver *practice.Receiver

	t       testing.TB
	o       Options
	target  string
	mu      sync.Mutex
	patient map[string]bool
}

// Start starts a service and stops it when the test ends.
func Start(t testing.TB, o Options) *Service {
	t.Helper()
	s := &Service{t: t, o: o, Receiver: practice.New("/fhir"), Registry: prometheus.NewRegistry(), patient: map[string]bool{}}
	if s.o.Database == "" {
		s.o.Database = filepath.Join(t.TempDir(), "enbloc.db")
	}
	var handler http.Handler = s.Receiver
	if o.Target != nil {
		handler = o.Target(handler)
	}
	receiver := httptest.NewServer(handler)
	t.Cleanup(receiver.Close)
	s.target = receiver.URL + "/fhir"
	if o.Server != "" {
		s.target = o.Server
	}
	s.wire(s.logger())
	return s
}

func (s *Service) logger() *slog.Logger {
	if s.o.Log == nil {
		return slog.New(slog.DiscardHandler)
	}
	return slog.New(slog.NewJSONHandler(s.o.Log, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// wire builds the service as the program does.
func (s *Service) wire(log *slog.Logger) {
	s.t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	var err error
	s.Store, err = store.Open(ctx, s.o.Database)
	s.must(err)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: s.target, Timeout: s.timeout(), SearchInURL: s.o.Server != ""}) // one known server has no other search
	s.must(err)
	pipeline := mapping.New(Key)
	s.Delivery, err = delivery.New(ctx, delivery.Options{
		Store: s.Store, Logger: log, Registerer: s.Registry, Void: fhir.Void,
		Targets: []delivery.Target{{Name: "practice", Client: client, Verify: s.verification(), LooksUp: s.o.LooksUp}},
		Render: func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
			return s.Intake.Graph(ctx, caseKey, sequence)
		},
		Busy:    func() bool { return s.Intake.Busy() },
		Backoff: func(int) time.Duration { return 20 * time.Millisecond },
		Workers: s.workers(), AttemptTimeout: 2 * s.timeout(),
	})
	s.must(err)
	s.Intake = intake.New(intake.Options{Store: s.Store, Pipeline: pipeline, Outbox: s.Delivery, Targets: 1})
	api := server.New(server.Options{
		Listen: "127.0.0.1:0", Token: s.o.Token, Store: s.Store, Pipeline: pipeline, Intake: s.Intake, Delivery: s.Delivery,
		Delivering: func() bool { return !s.o.Undelivered }, Logger: log, Registry: s.Registry,
	})
	s.must(api.Listen())
	s.URL = "http://" + api.Addr()
	if !s.o.Undelivered {
		s.must(s.Delivery.Start(context.Background()))
	}
	ended := make(chan error, 1)
	go func() { ended <- api.Serve(ctx) }()
	s.t.Cleanup(func() { s.stop(stop, ended) })
}

// timeout of one request to the target.
func (s *Service) timeout() time.Duration {
	if s.o.Server != "" {
		return 3 * time.Minute
	}
	return 20 * time.Second
}

// workers keeps a real server busy and no more; 0 is the default.
func (s *Service) workers() int {
	if s.o.Server != "" {
		return 4
	}
	return 0
}

// verification reads everything back from a server whose ways are not ours.
func (s *Service) verification() delivery.Verification {
	if s.o.Server != "" && !s.o.Sampled {
		return delivery.VerifyAll
	}
	return delivery.VerifySample
}

func (s *Service) stop(cancel context.CancelFunc, ended <-chan error) {
	cancel()
	if err := <-ended; err != nil {
		s.t.Error("stopping API: " + err.Error())
	}
	grace, done := context.WithTimeout(context.Background(), 20*time.Second)
	defer done()
	if !s.o.Undelivered {
		if err := s.Delivery.Stop(grace); err != nil {
			s.t.Error("stopping delivery: " + err.Error())
		}
	}
	if err := s.Store.Close(); err != nil {
		s.t.Error(err)
	}
}

func (s *Service) must(err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatal(err)
	}
}

// introduce makes the patient of a report known to the receiver.
func (s *Service) introduce(document []byte) {
	var d struct {
		Patient struct {
			Identifier struct{ System, Value string }
		}
	}
	// What is no report names no patient.
	if json.Unmarshal(document, &d) != nil || d.Patient.Identifier.Value == "" || s.o.UnknownPatients {
		return
	}
	id := d.Patient.Identifier
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.patient[id.System+"|"+id.Value] {
		return
	}
	s.patient[id.System+"|"+id.Value] = true
	if s.o.Server != "" {
		s.MakeKnown("Patient", id.System, id.Value)
		return
	}
	if _, err := s.Receiver.Seed("Patient", id.System, id.Value, nil); err != nil {
		s.t.Error(err)
	}
}

// MakeKnown creates a resource of the hospital's own at the server, named by its
// identifier, unless it is there, as the hospital's other systems would have done.
func (s *Service) MakeKnown(resourceType, system, value string) {
	s.t.Helper()
	resource := map[string]any{"resourceType": resourceType, "identifier": []any{map[string]any{"system": system, "value": value}}}
	if resourceType == "Encounter" { // R4 requires both
		resource["status"] = "finished"
		resource["class"] = map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"}
	}
	body, err := json.Marshal(resource)
	s.must(err)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.target+"/"+resourceType, bytes.NewReader(body))
	s.must(err)
	req.Header.Set("Content-Type", "application/fhir+json")
	req.Header.Set("If-None-Exist", "identifier="+url.QueryEscape(system+"|"+value))
	res, err := http.DefaultClient.Do(req)
	s.must(err)
	defer res.Body.Close() //nolint:errcheck // nothing is read
	if res.StatusCode != http.StatusCreated && res.StatusCode != http.StatusOK {
		s.t.Errorf("creating a %s at the server: %d", resourceType, res.StatusCode)
	}
}
