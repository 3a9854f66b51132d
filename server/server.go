// Package server is the HTTP API: it turns requests into calls of intake, store
// and delivery, and their answers and faults into HTTP.
//
// It promises: 202 is said only after the document, its state and its
// deliveries are committed; every refusal is a problem document (RFC 9457), or
// an OperationOutcome for who asks for FHIR; an error that was not foreseen
// says nothing to the caller; and no patient data reaches a URL, a log line, a
// metric or the text of an error. What identifies a case in a URL is an opaque
// key.
//
// gin is imported here and nowhere else.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"

	"enbloc/mapping"
	"enbloc/server/delivery"
	"enbloc/server/intake"
	"enbloc/server/store"
	"enbloc/server/target"
)

// Delivery is what the API needs of the delivery service.
type Delivery interface {
	// Resend makes a row that stopped due at once, Skip closes it unsent.
	Resend(ctx context.Context, id string) error
	Skip(ctx context.Context, id string) error
	// TargetStates are how the targets are written and whether they are called.
	TargetStates() []delivery.TargetState
}

// Options say how to serve. Store, Pipeline, Intake and Delivery are required.
type Options struct {
	// Listen is the address, host:port; port 0 takes a free one. Empty means
	// 127.0.0.1:8700. Any other than a loopback address needs a Token.
	Listen string
	// Token is the bearer token that every caller must send, but for health,
	// schemas and the description of the API. Empty: none is asked for, and
	// only requests that name a loopback host are answered.
	Token string

	Store    *store.Store
	Pipeline mapping.Pipeline
	Intake   *intake.Intake
	Delivery Delivery
	// Delivering reports whether rows are being worked, for readiness; nil means
	// they are.
	Delivering func() bool
	// Tenant is the one that Intake works for.
	Tenant string

	// Logger gets one line per request: method, route, status, duration and
	// request id, never a path, a query or a body. Nil means silence.
	Logger *slog.Logger
	// Registry keeps the metrics that /metrics shows; nil makes one.
	Registry *prometheus.Registry

	// BodyLimit is the longest body, in bytes; 0 means 2 MB (2,000,000).
	BodyLimit int64
	// HeaderTimeout bounds the reading of a request's head (0: 5 s),
	// ReadTimeout of the whole request (0: 30 s), WriteTimeout of request and
	// answer together (0: 60 s), IdleTimeout the wait for the next request on a
	// connection (0: 120 s).
	HeaderTimeout, ReadTimeout, WriteTimeout, IdleTimeout time.Duration
	// AnswerTimeout bounds the work on one request, after which the caller is
	// told to come again (503); 0 means 25 s. Keep it below WriteTimeout, or the
	// connection ends without a word.
	AnswerTimeout time.Duration
	// Grace is how long running requests may take to end once the service is
	// asked to stop; 0 means 20 s.
	Grace time.Duration
	// AnswersKept is how long the answer to an Idempotency-Key is kept; 0 means
	// 7 days.
	AnswersKept time.Duration
	// Clock overrides the time (tests); nil means time.Now.
	Clock func() time.Time
}

const defaultBody = 2_000_000

func (o *Options) complete() {
	if o.Listen == "" {
		o.Listen = "127.0.0.1:8700"
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Registry == nil {
		o.Registry = prometheus.NewRegistry()
	}
	if o.BodyLimit <= 0 {
		o.BodyLimit = defaultBody
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Delivering == nil {
		o.Delivering = func() bool { return true }
	}
	for _, d := range []struct {
		field *time.Duration
		value time.Duration
	}{
		{&o.HeaderTimeout, 5 * time.Second}, {&o.ReadTimeout, 30 * time.Second}, {&o.WriteTimeout, time.Minute},
		{&o.IdleTimeout, 2 * time.Minute}, {&o.AnswerTimeout, 25 * time.Second}, {&o.Grace, 20 * time.Second}, {&o.AnswersKept, 7 * 24 * time.Hour},
	} {
		if *d.field <= 0 {
			*d.field = d.value
		}
	}
}

// Server serves the API.
type Server struct {
	o        Options
	engine   *gin.Engine
	metrics  *metrics
	keys     inUse
	figures  *figures
	listener net.Listener
}

// New returns a Server that does not listen yet.
func New(o Options) *Server {
	o.complete()
	s := &Server{o: o, metrics: newMetrics(o.Registry)}
	s.figures = newFigures(func(ctx context.Context) (store.Mark, error) { return o.Store.Mark(ctx, o.Tenant) })
	s.engine = s.routes()
	return s
}

// Handler is the API without a listener.
func (s *Server) Handler() http.Handler { return s.engine }

// Listen takes the address. It refuses one that others than this machine can
// reach when no token is asked for.
func (s *Server) Listen() error {
	host, _, err := net.SplitHostPort(s.o.Listen)
	if err != nil {
		return fmt.Errorf("reading listen address: %w", err)
	}
	if s.o.Token == "" && !target.Loopback(host) {
		return errors.New("listening beyond this machine without a bearer token would show patient data to the network: " +
			"set a token, or listen on 127.0.0.1")
	}
	s.listener, err = net.Listen("tcp", s.o.Listen)
	if err != nil {
		return fmt.Errorf("listening: %w", err)
	}
	return nil
}

// Addr is the address taken by Listen, host:port.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// Serve answers until the context ends, then lets running requests end within
// the grace and returns. Call Listen first.
func (s *Server) Serve(ctx context.Context) error {
	h := &http.Server{
		Handler: s.engine, ReadHeaderTimeout: s.o.HeaderTimeout, ReadTimeout: s.o.ReadTimeout,
		WriteTimeout: s.o.WriteTimeout, IdleTimeout: s.o.IdleTimeout, MaxHeaderBytes: 32 << 10,
		// net/http's own lines name addresses and quote what clients sent.
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
	}
	stop, cancel := context.WithCancel(ctx)
	defer cancel()
	go s.forgetAnswers(stop)
	defer s.figures.stop()
	failed := make(chan error, 1)
	go func() { failed <- h.Serve(s.listener) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serving: %w", err)
	case <-ctx.Done():
	}
	grace, cancelGrace := context.WithTimeout(context.WithoutCancel(ctx), s.o.Grace)
	defer cancelGrace()
	if err := h.Shutdown(grace); err != nil {
		return errors.Join(fmt.Errorf("waiting for running requests: %w", err), h.Close())
	}
	return nil
}

// Run listens and serves.
func (s *Server) Run(ctx context.Context) error {
	if err := s.Listen(); err != nil {
		return err
	}
	return s.Serve(ctx)
}
