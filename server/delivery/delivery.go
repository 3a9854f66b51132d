// Package delivery brings every accepted state of a case to its targets, once
// in effect and in order, whatever fails on the way.
//
// It promises: a row of the outbox that was committed is worked until it is
// delivered, superseded or needs a human; nothing is sent again that the ledger
// knows to stand; nothing is sent after an attempt with an unknown outcome
// before the target was read; nothing that somebody else has changed is ever
// overwritten; and of two states of one case the later never reaches a target
// before the earlier is settled. No patient data reaches the queue's tables,
// logs, metrics or the texts of a row.
//
// [Engine] does one delivery and knows no queue; [Service] drives it from the
// outbox. The queue is a wake-up service only: the outbox row is the truth.
package delivery

import (
	"context"
	"encoding/json"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"enbloc/mapping/graph"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// Renderer makes the graph of one state of a case. It reads what it needs from
// the store and must give the same graph for the same state. An error that
// wraps a fault of kind Invalid closes the row; any other is tried again.
type Renderer func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error)

// Voider turns a resource, as it stands on a target, into its "entered in
// error" form. It is called for what an earlier state had and the present has
// not.
type Voider func(resourceType string, body json.RawMessage) (json.RawMessage, error)

// PatientPolicy says what to do about a patient whom the target does not know.
type PatientPolicy string

// The policies.
const (
	// PatientMustExist parks the delivery until the patient is there.
	PatientMustExist PatientPolicy = "must-exist"
	// PatientLogical refers to the patient by identifier only. Some targets
	// cannot search by such a reference, and some drop it.
	PatientLogical PatientPolicy = "logical"
	// PatientConditional leaves the search to the target, in the write itself: a
	// patient whom it does not find makes it refuse the write, which parks the
	// delivery. Where we may search too, it is seen first that the patient was not
	// merged and is of the right age. Some targets keep such a reference as it is,
	// which is an alarm.
	PatientConditional PatientPolicy = "conditional"
	// PatientCreate makes a bare patient, with the identifier and nothing else,
	// when the target has none. Only where the site has said so.
	PatientCreate PatientPolicy = "create"
)

// Verification says how much is read back after writing.
type Verification string

// How much is read back.
const (
	// VerifySample reads every DiagnosticReport and a few others; all when few.
	VerifySample Verification = "sample"
	// VerifyAll reads everything that was written.
	VerifyAll Verification = "all"
)

// Target is a place to deliver to.
type Target struct {
	// Name is short and stable: ledger and outbox rows carry it.
	Name   string
	Client *fhirserver.Client
	// Rung is how the target is written; 0 means RungConditionalCreate.
	Rung int
	// Fixed is true when a human has chosen the rung: it is never left while the
	// service runs, whatever the target refuses.
	Fixed bool
	// FirstWrite is how RungSingle and RungDocument create; empty means
	// WithCondition.
	FirstWrite FirstWrite
	// LooksUp: the target turns a search inside a reference of a transaction into a
	// link, and refuses one without a match, as its preflight has shown. What the
	// hospital owns, once it was found here, and what many cases share is named so
	// then: one known server looks up a search once in a transaction, but each link
	// anew, which costs it a fifth of its work.
	LooksUp bool
	// MaxEntries is how many entries a transaction may have; 0 means any number.
	// A case with more is written in several, the DiagnosticReports in the last.
	MaxEntries int
	// Folder is where RungFile puts its files. Client may be nil then.
	Folder string
	// Serves says whose data the target may get; empty means anybody's, which is
	// for single sends and tests: a service sets it.
	Serves Audience
	// Patient is what to do about an unknown patient; empty means
	// PatientMustExist.
	Patient PatientPolicy
	// Verify is how much is read back; empty means VerifySample.
	Verify Verification
	// Adopt lets a resource that stands under our key, but that the ledger does
	// not know and whose content differs, be updated under If-Match. It is for
	// single sends without a lasting ledger; a service must leave it off, as it
	// would overwrite what it cannot judge.
	Adopt bool
	// Render makes the graph of a state for this target alone; nil means the
	// Renderer of the service.
	Render Renderer
	// Gate is asked before anything is sent; nil means that all may stand there.
	Gate Gate
	// Withdraw marks what the target refuses to delete when a case is taken back;
	// nil means the Voider of the service.
	Withdraw Voider
}

// Options are what a Service needs.
type Options struct {
	Store *store.Store
	// Tenant is whose cases are delivered, where several share a store; the rows
	// of others are left alone.
	Tenant  string
	Targets []Target
	Render  Renderer
	Void    Voider
	// Logger gets keys, roles, states and status codes, never content; nil
	// means silence.
	Logger *slog.Logger
	// Registerer gets the metrics; nil means none.
	Registerer prometheus.Registerer
	// Workers is how many rows write to one target at once at most; 0 means 8. How
	// many of them do follows what the target bears. Half as many more read back.
	Workers int
	// Busy reports whether a sender waits for an answer; deliveries leave room
	// then. Nil means never.
	Busy func() bool
	// Budget is how long a row is tried before it is given up; 0 means 72 h.
	Budget time.Duration
	// AttemptTimeout bounds one attempt, all its requests together; 0 means
	// 150 s. It must be longer than the timeout of a target's client.
	AttemptTimeout time.Duration
	// Margin is how much longer a worker holds a row than an attempt may take,
	// for writing down the outcome; 0 means 30 s. A row whose process died comes
	// free with the next start on SQLite and in some ten seconds on Postgres; after
	// AttemptTimeout and Margin in any case.
	Margin time.Duration
	// Sweep is how often rows that no job will wake are looked for; 0 means 1 min.
	Sweep time.Duration
	// Poll is how often jobs that fell due, or that another process made, are
	// looked for; 0 means 100 ms. Those of this process are found at once.
	Poll time.Duration
	// LongestWait caps every wait of our own choosing: between two attempts, for
	// a patient, and the rest of a target that fails. What a target asks for by
	// Retry-After is not capped. 0 means the usual: 10 min, 1 h and 5 min.
	LongestWait time.Duration
	// Backoff overrides the wait before attempt n+1 (tests); nil means
	// exponential with jitter, from 1 s to 10 min.
	Backoff func(attempt int) time.Duration
	// Clock overrides the time (tests); nil means time.Now.
	Clock func() time.Time
}
