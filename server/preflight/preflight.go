// Package preflight finds out what a target can really do before the first
// patient is sent there, and by which rung of delivery it has to be written.
//
// It promises: what a CapabilityStatement claims is believed only where writing
// has shown it, or is marked as unproven; everything written is invented,
// labelled HTEST, tagged with the run, and taken back at the end, and what could
// not be taken back is listed; no name, identifier or body of anybody's record
// reaches the report; a target that serves patients is only read unless the
// caller allows more.
package preflight

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"enbloc/mapping"
	"enbloc/server/delivery"
	"enbloc/server/target/fhirserver"
)

// Format is the version of the report's JSON. It rises when a field changes its
// meaning or goes; new fields do not raise it.
const Format = 1

// Status is the outcome of one check.
type Status string

// The outcomes.
const (
	Pass Status = "pass"
	// Warn: it works, and something is lost or has to be watched.
	Warn Status = "warn"
	// Fail: something that delivery needs does not work.
	Fail Status = "fail"
	// Info: a fact without good or bad.
	Info Status = "info"
	// Skip: not tried, and why.
	Skip Status = "skip"
)

// Check is one thing that was looked at.
type Check struct {
	// ID is stable between versions, for scripts.
	ID    string `json:"id"`
	Group string `json:"group"`
	Title string `json:"title"`
	// Status is pass, warn, fail, info or skip.
	Status Status `json:"status"`
	// Found is the evidence, in a sentence.
	Found string `json:"found"`
	// Remedy is what to do about it; empty when nothing has to be done.
	Remedy string `json:"remedy,omitempty"`
	Millis int64  `json:"duration_ms"`
}

// Step is one line of the transcript: enough to find the request in the
// target's log, nothing of its content.
type Step struct {
	Interaction string `json:"interaction"`
	Status      int    `json:"status"` // 0: no answer
	RequestID   string `json:"request_id"`
	Millis      int64  `json:"duration_ms"`
}

// Leftover is a resource of ours that could not be taken away.
type Leftover struct {
	Type string `json:"type"`
	ID   string `json:"id"`
	// Marked is true when it stands there as entered in error.
	Marked bool `json:"marked_entered_in_error"`
}

// Report is what a preflight found.
type Report struct {
	Format  int       `json:"preflight"`
	Target  string    `json:"target"`
	Name    string    `json:"name,omitempty"`
	Run     string    `json:"run"`
	Started time.Time `json:"started_at"`
	Millis  int64     `json:"duration_ms"`
	// Software and FHIRVersion are what the target says of itself.
	Software    string `json:"software,omitempty"`
	FHIRVersion string `json:"fhir_version,omitempty"`
	// CapabilityHash is over what the target claims; another hash means that it
	// was changed.
	CapabilityHash string `json:"capability_hash,omitempty"`
	// Usable is false when nothing can be delivered to the target: it takes
	// nothing in, mixes up patients, or takes not one of the cases of the trial.
	Usable bool `json:"usable"`
	// Proven is true when the rung rests on writing, not on claims.
	Proven     bool                `json:"proven"`
	Rung       delivery.Rung       `json:"rung"`
	FirstWrite delivery.FirstWrite `json:"first_write,omitempty"`
	// LooksUp: the target turns a search inside a reference into a link by itself.
	LooksUp bool `json:"looks_up_references"`
	// Why says what decided for the rung; Lost what is given up there; Ask what
	// to ask the vendor for.
	Why  string   `json:"why"`
	Lost []string `json:"lost"`
	Ask  []string `json:"ask"`
	// Sentence is the whole in one sentence.
	Sentence string  `json:"sentence"`
	Checks   []Check `json:"checks"`
	// Trial is nil when no whole case was tried.
	Trial *Trial `json:"trial,omitempty"`
	// Rate is nil when it was not measured.
	Rate *Rate `json:"rate,omitempty"`
	// Drift is what differs from an earlier report; see [Drift].
	Drift      []Change   `json:"drift,omitempty"`
	Leftovers  []Leftover `json:"leftovers"`
	Transcript []Step     `json:"transcript"`
	// TranscriptHash names this run in a ticket.
	TranscriptHash string `json:"transcript_hash"`
}

// Options say what is looked at.
type Options struct {
	Client *fhirserver.Client
	// Name is the target's name in the ledger; may be empty.
	Name string
	// Write allows invented resources to be written. Without it the rung rests
	// on claims.
	Write bool
	// TestPatient is an identifier, system|value, of an invented patient that the
	// target should know; empty: not looked for.
	TestPatient string
	// Entries and Bytes bound the search for limits; 0 means 256 entries and
	// 8 MiB.
	Entries, Bytes int
	// Cases is how many whole invented cases are tried; 0: none.
	Cases int
	// Pipeline maps the invented cases as the site's own are mapped, but under a
	// key of the run; nil means the settings of a site that has set nothing.
	Pipeline *mapping.Pipeline
	// MaxEntries is the site's own bound on the entries of a transaction; 0:
	// what the target takes.
	MaxEntries int
	// Progress is called before each group of checks; may be nil.
	Progress func(group string)
	// Clock overrides the time (tests); nil means time.Now.
	Clock func() time.Time
}

// Groups of checks, in their order.
const (
	GroupConnection = "Connection"
	GroupClaims     = "What the server claims"
	GroupWriting    = "Writing, proven"
	GroupContent    = "What it keeps of the content"
	GroupLimits     = "Limits"
	GroupCases      = "Whole cases"
	GroupCleaning   = "Cleaning up"
)

// run is one preflight on its way.
type run struct {
	Options
	report Report
	caps   fhirserver.Capabilities
	facts  facts
	made   []made
	// mostEntries of one transaction were taken, and more refused; 0: not found.
	mostEntries int
	// bad is an entry that makes a transaction fail as a whole; nil: none is known.
	bad func() map[string]any
	// longest is how long the slowest transaction took that was sent for its size.
	longest time.Duration
}

// Run looks at a target. The error is non-nil only when the run itself could
// not be made; whatever is wrong with the target stands in the report.
func Run(ctx context.Context, o Options) (Report, error) {
	if o.Client == nil {
		return Report{}, errors.New("checking preflight options: a client is required")
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Entries <= 0 {
		o.Entries = 256
	}
	if o.Bytes <= 0 {
		o.Bytes = 8 << 20
	}
	var id [6]byte
	_, _ = rand.Read(id[:]) // crypto/rand.Read never fails since Go 1.24
	r := &run{Options: o, report: Report{Format: Format, Target: o.Client.BaseURL(), Name: o.Name, Run: hex.EncodeToString(id[:]),
		Started: o.Clock().UTC(), Lost: []string{}, Ask: []string{}, Leftovers: []Leftover{}, Checks: []Check{}, Transcript: []Step{}}}
	r.group(GroupConnection)
	if r.connection(ctx) {
		r.group(GroupClaims)
		r.claims(ctx)
		if r.mayWrite() {
			r.writing(ctx)
		}
	}
	r.choose()
	r.report.Millis = o.Clock().Sub(r.report.Started).Milliseconds()
	r.report.TranscriptHash = hashOf(r.report.Transcript)
	return r.report, nil
}

// writing runs everything that leaves something behind, and cleans up even when
// it is cancelled in the middle.
func (r *run) writing(ctx context.Context) {
	defer func() {
		r.group(GroupCleaning)
		clean, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer cancel()
		r.cleanUp(clean)
	}()
	for _, g := range []struct {
		name  string
		tries []func(context.Context)
	}{
		{GroupWriting, []func(context.Context){r.create, r.updating, r.repeating, r.racing, r.transaction, r.racingTransactions, r.atomicity, r.clientID, r.conditionalUpdate, r.byTag, r.document}},
		{GroupContent, []func(context.Context){r.roundTrip, r.logicalReference, r.conditionalReference, r.danglingReference, r.nonsense, r.validation, r.attachment}},
		{GroupLimits, []func(context.Context){r.freshness, r.entriesLimit, r.bytesLimit, r.timeLimit, r.rate}},
		{GroupCases, []func(context.Context){r.cases}},
	} {
		r.group(g.name)
		for _, try := range g.tries {
			if ctx.Err() != nil {
				return
			}
			try(ctx)
		}
	}
}

func (r *run) mayWrite() bool {
	if r.Write {
		return true
	}
	r.add(Check{ID: "canaries", Group: GroupWriting, Title: "Writing invented resources", Status: Skip,
		Found:  "The target serves patients, so nothing was written: the rung rests on what the server claims.",
		Remedy: "Run it against the test system with --target-serves test, or allow invented, labelled resources with --write."})
	return false
}

func (r *run) group(name string) {
	if r.Progress != nil {
		r.Progress(name)
	}
}

func (r *run) add(c Check) { r.report.Checks = append(r.report.Checks, c) }

// saw keeps a line of the transcript and returns the answer.
func (r *run) saw(interaction string, a fhirserver.Answer) fhirserver.Answer {
	r.report.Transcript = append(r.report.Transcript, Step{interaction, a.Status, a.RequestID, a.Duration.Milliseconds()})
	return a
}

// timed runs a check and notes how long it took.
func (r *run) timed(group, id, title string, check func() (Status, string, string)) Status {
	start := time.Now()
	status, found, remedy := check()
	r.add(Check{ID: id, Group: group, Title: title, Status: status, Found: found, Remedy: remedy, Millis: time.Since(start).Milliseconds()})
	return status
}

func hashOf(v any) string {
	sum := sha256.Sum256([]byte(fmt.Sprintf("%+v", v)))
	return hex.EncodeToString(sum[:])[:16]
}
