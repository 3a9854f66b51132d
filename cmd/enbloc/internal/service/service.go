package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server"
	"enbloc/server/delivery"
	"enbloc/server/intake"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// Service is one wired program. Make it with [New], then [Service.Run] it once.
type Service struct {
	config   Config
	log      *slog.Logger
	store    *store.Store
	delivery *delivery.Service
	server   *server.Server
	watches  []*watch
	reviews  []reviewer
	intake   *intake.Intake
}

// New reads secrets, opens the store and wires the parts. Nothing is served or
// delivered before Run. The version names the program in records and requests.
func New(ctx context.Context, c Config, version string, log *slog.Logger) (*Service, error) {
	if err := c.complete(); err != nil {
		return nil, err
	}
	book, err := LoadBook(c.BookFile)
	if err != nil {
		return nil, err
	}
	codes, err := LoadCodes(c.CodesFile)
	if err != nil {
		return nil, err
	}
	tellUnmapped(ctx, log, c.CodesFile, codes)
	targets, err := c.targets(ctx, version)
	if err != nil {
		return nil, err
	}
	s := &Service{config: c, log: log}
	registries, err := s.registries(ctx, version)
	if err != nil {
		return nil, err
	}
	targets = append(targets, registries...)
	if s.store, err = openStore(ctx, c.Store); err != nil {
		return nil, err
	}
	for i := range targets {
		if targets[i], err = climb(ctx, s.store, targets[i]); err != nil {
			return nil, errors.Join(err, s.store.Close())
		}
	}
	key, err := s.identityKey(ctx)
	if err != nil {
		return nil, errors.Join(err, s.store.Close())
	}
	pipeline := mapping.Pipeline{Book: book, FHIR: fhir.Options{
		Key: key, Tenant: c.Tenant, SoftwareVersion: version, Licensed: c.LicensedSNOMED,
		Site: codes, NoProfiles: c.NoProfiles,
	}}
	if pipeline.Dress, err = dress.Named(c.Dress); err != nil {
		return nil, errors.Join(err, s.store.Close())
	}
	if err := s.wire(ctx, pipeline, targets); err != nil {
		return nil, errors.Join(err, s.store.Close())
	}
	return s, nil
}

// wire joins intake and delivery, which need each other: intake fills the
// outbox, delivery renders what intake knows.
func (s *Service) wire(ctx context.Context, pipeline mapping.Pipeline, targets []delivery.Target) error {
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	var err error
	s.delivery, err = delivery.New(ctx, delivery.Options{
		Store: s.store, Tenant: s.config.Tenant, Targets: targets, Void: fhir.Void, Logger: s.log, Registerer: registry,
		LongestWait: s.config.RetryWait,
		Render: func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
			return s.intake.Graph(ctx, caseKey, sequence)
		},
		Busy: func() bool { return s.intake.Busy() },
	})
	if err != nil {
		return fmt.Errorf("preparing delivery: %w", err)
	}
	for i := range s.reviews {
		s.reviews[i].delivery = s.delivery
	}
	if s.config.PreflightEvery > 0 {
		s.watches = newWatches(s.store, s.log, targets, s.config.PreflightEvery, registry)
	}
	s.intake = intake.New(intake.Options{Store: s.store, Pipeline: pipeline, Outbox: s.delivery, Tenant: s.config.Tenant, Targets: len(targets)})
	s.server = server.New(server.Options{
		Listen: s.config.Listen, Token: s.config.Token, Store: s.store, Pipeline: pipeline, Intake: s.intake, Delivery: s.delivery,
		Tenant: s.config.Tenant, Logger: s.log, Registry: registry, Grace: s.config.Grace,
	})
	return nil
}

// openStore opens the database. For a SQLite file it makes the folder, for its
// owner only.
func openStore(ctx context.Context, dsn string) (*store.Store, error) {
	if !isPostgres(dsn) {
		if err := os.MkdirAll(filepath.Dir(dsn), 0o700); err != nil {
			return nil, fmt.Errorf("making data folder: %w", err)
		}
	}
	st, err := store.Open(ctx, dsn)
	if err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	return st, nil
}

func isPostgres(dsn string) bool {
	return strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://")
}

// identityKey loads the key, or makes it for a store that holds no case yet.
// With cases in the store a new key would write every record a second time, so
// a lost key stops the start.
func (s *Service) identityKey(ctx context.Context) ([]byte, error) {
	if !absent(s.config.KeyFile) {
		return LoadKey(s.config.KeyFile)
	}
	cases, _, err := s.store.Cases(ctx, store.CaseQuery{Tenant: s.config.Tenant, Limit: 1})
	if err != nil {
		return nil, fmt.Errorf("looking for cases: %w", err)
	}
	if len(cases) > 0 {
		return nil, fmt.Errorf("the identity key %s is missing, but the store holds cases that were made with it. "+
			"Restore the file from its backup. With a new key every record would be written a second time", s.config.KeyFile)
	}
	key, err := MakeKey(s.config.KeyFile)
	if err == nil {
		s.log.InfoContext(ctx, "made the identity key: back it up, apart from the store", "file", s.config.KeyFile)
	}
	return key, err
}

// registries are the recipients of the configuration as targets.
func (s *Service) registries(ctx context.Context, version string) ([]delivery.Target, error) {
	var all []delivery.Target
	for _, path := range s.config.Registries {
		r, err := LoadRegistry(path, func(string) string { return s.config.RecipientSecret })
		if err != nil {
			return nil, err
		}
		t, err := r.target(ctx, version, &s.intake)
		if err != nil {
			return nil, err
		}
		all = append(all, t)
		s.reviews = append(s.reviews, reviewer{registry: r, target: t.Name, in: &s.intake, log: s.log})
	}
	return all, nil
}

// targets is the one target of the configuration, or none.
func (c *Config) targets(ctx context.Context, version string) ([]delivery.Target, error) {
	if c.Folder != "" {
		t := delivery.Target{Name: c.TargetName, Rung: delivery.RungFile, Folder: c.Folder}
		fill(&t.Name, "files")
		t.Serves = c.audience(ctx, t)
		return []delivery.Target{t}, nil
	}
	if c.Target == "" {
		return nil, nil
	}
	t, err := c.DeliveryTarget(ctx, version)
	return []delivery.Target{t}, err
}

// DeliveryTarget is the target that the configuration describes. It is asked
// only whether it is a practice receiver, and only when Serves is empty.
func (c *Config) DeliveryTarget(ctx context.Context, version string) (delivery.Target, error) {
	if err := c.checkTarget(); err != nil {
		return delivery.Target{}, err
	}
	roots, err := c.roots()
	if err != nil {
		return delivery.Target{}, err
	}
	transport := fhirserver.NewTransport(roots)
	tokens, err := c.tokens(transport)
	if err != nil {
		return delivery.Target{}, err
	}
	client, err := fhirserver.New(fhirserver.Config{
		BaseURL: c.Target, Bearer: c.TargetToken, Username: c.TargetUser, Password: c.TargetPassword, Tokens: tokens,
		Transport: transport, UserAgent: "enbloc/" + version, SearchInURL: c.SearchInURL,
	})
	if err != nil {
		return delivery.Target{}, err
	}
	t := delivery.Target{Name: c.TargetName, Client: client, Rung: c.Rung, Fixed: c.Rung != 0, Patient: delivery.PatientMustExist,
		Verify: delivery.VerifySample, MaxEntries: c.MaxEntries}
	if t.Name == "" {
		t.Name = TargetName(c.Target)
	}
	if c.LogicalPatient {
		t.Patient = delivery.PatientLogical
	}
	if c.Patient != "" {
		t.Patient = delivery.PatientPolicy(c.Patient)
	}
	if c.VerifyAll {
		t.Verify = delivery.VerifyAll
	}
	t.Serves = c.audience(ctx, t)
	return t, nil
}

var notInName = regexp.MustCompile(`[^A-Za-z0-9.]+`)

// maxName is the longest name of a target that the API takes in a query.
const maxName = 64

// TargetName makes a target's name of its URL. It is made of the address and
// not a fixed word, because the ledger goes by it: another server under the
// same name would be taken to hold what it never got.
func TargetName(address string) string {
	_, rest, _ := strings.Cut(address, "://")
	name := strings.Trim(notInName.ReplaceAllString(rest, "-"), "-")
	if len(name) > maxName {
		sum := sha256.Sum256([]byte(address))
		name = name[:maxName-9] + "-" + hex.EncodeToString(sum[:4])
	}
	return name
}

// Run serves and delivers until ctx ends, then lets what runs come to an end
// within the grace. It calls ready once, with the address taken, when requests
// are answered.
func (s *Service) Run(ctx context.Context, ready func(address string)) (err error) {
	defer func() { err = errors.Join(err, s.store.Close()) }()
	if err := s.server.Listen(); err != nil {
		return err
	}
	if err := s.delivery.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("starting delivery: %w", err)
	}
	if ready != nil {
		ready(s.server.Addr())
	}
	beside, stop := context.WithCancel(ctx)
	var others sync.WaitGroup
	for _, w := range s.watches {
		others.Go(func() { w.run(beside) })
	}
	for _, review := range s.reviews {
		others.Go(func() { review.run(beside) })
	}
	if s.config.RetentionDays > 0 {
		others.Go(func() { upkeep{s.store, s.log, s.config.RetentionDays, time.Now}.run(beside) })
	}
	err = s.server.Serve(ctx)
	stop()
	others.Wait()
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.config.Grace)
	defer cancel()
	return errors.Join(err, s.delivery.Stop(grace))
}

// Close closes a service that was never run.
func (s *Service) Close() error { return s.store.Close() }
