package delivery

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"enbloc/mapping/graph"
	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// Engine delivers graphs to one target. It keeps no state but caches, and is
// safe for concurrent use as long as no two deliveries of one case overlap.
type Engine struct {
	target Target
	ledger Ledger
	void   Voider
	now    func() time.Time
	// shared serialises the first write of resources that many cases share.
	shared  sync.Mutex
	staff   staffCache
	circuit circuit
	limiter *limiter // set by a Service, which alone runs attempts side by side
	way     way
}

// way is how the target is written at present.
type way struct {
	mu       sync.Mutex
	learned  store.Learned
	refusals int  // in a row
	asLinks  bool // it took links after it had refused to look up
	remember func(context.Context, store.Learned)
}

// EngineOptions are what an Engine needs beside its target.
type EngineOptions struct {
	// Ledger is where the engine remembers; nil means a memory ledger.
	Ledger Ledger
	// Void is called for what is no longer in a graph; nil leaves it as it is.
	Void Voider
	// Clock overrides the time (tests); nil means time.Now.
	Clock func() time.Time
}

// NewEngine returns an engine for a target.
func NewEngine(t Target, o EngineOptions) *Engine {
	e := &Engine{target: t, ledger: o.Ledger, void: o.Void, now: o.Clock}
	if e.target.Rung == 0 {
		e.target.Rung = RungConditionalCreate
	}
	if e.target.Patient == "" {
		e.target.Patient = PatientMustExist
	}
	if e.target.FirstWrite == "" {
		e.target.FirstWrite = WithCondition
	}
	if e.target.Verify == "" {
		e.target.Verify = VerifySample
	}
	if e.ledger == nil {
		e.ledger = NewMemoryLedger()
	}
	if e.now == nil {
		e.now = time.Now
	}
	return e
}

// passes bounds how often one delivery starts over after the ledger learned
// something: shared resources, adopted ones, a lost race. More often means that
// two parties fight over a record, which waiting solves better.
const passes = 6

// Deliver brings the target to the state that the graph shows and reads back.
// Whatever the error, the Result lists what is known to stand. The error is a
// [*Failure] when the target is to blame, else a fault of our own.
func (e *Engine) Deliver(ctx context.Context, g graph.Graph) (Result, error) {
	return e.deliverAlone(ctx, g, e.target.Adopt)
}

// deliverAlone delivers and records by itself, outside a queue.
func (e *Engine) deliverAlone(ctx context.Context, g graph.Graph, doubt bool) (Result, error) {
	result, err := e.deliver(ctx, g, doubt, nil)
	if err != nil || result.complete == 0 {
		return result, err
	}
	return result, e.ledger.Record(ctx, e.target.Name, g.CaseKey, result.learned, result.complete)
}

// deliver with doubt reads the target before anything is sent: an earlier
// attempt may have arrived. What a good delivery has learned is in its result,
// for the caller to record; should that fail, the next attempt reads it all.
// written, if given, is called when all is written and only to be read back.
func (e *Engine) deliver(ctx context.Context, g graph.Graph, doubt bool, written func()) (Result, error) {
	for {
		t := e.present()
		result, err := e.deliverBy(ctx, t, g, doubt, written)
		f := asFailure(err)
		if !ofRung(f) || !e.refuses(ctx, t, f.Status) {
			return result, err
		}
		doubt = true // by the lower rung from here on, beginning with what stands
	}
}

// deliverBy delivers in one way.
func (e *Engine) deliverBy(ctx context.Context, t Target, g graph.Graph, doubt bool, written func()) (Result, error) {
	r := &run{Engine: e, target: t, g: g, doubt: doubt, doubted: doubt, written: written, void: e.void, patientBorn: g.Born, hashes: hashes{}, items: map[string]*Item{}}
	if err := r.begin(ctx); err != nil {
		return r.finished(), err
	}
	if err := r.bring(ctx); err != nil {
		return r.finished(), err
	}
	r.result.learned, r.result.complete = r.unsaved, g.Sequence
	return r.finished(), nil
}

// bring makes the state stand on the target, by whatever it is written. After a
// failure, what is known to stand is saved at once.
func (r *run) bring(ctx context.Context) error {
	if r.target.Rung == RungFile {
		return r.drop()
	}
	if err := r.write(ctx); err != nil {
		return errors.Join(err, r.save(ctx, 0))
	}
	if r.written != nil {
		r.written()
	}
	if err := r.verify(ctx); err != nil {
		return errors.Join(err, r.save(ctx, r.g.Sequence))
	}
	return nil
}

// run is one delivery of one graph.
type run struct {
	*Engine
	// target is the engine's, as it is written at present.
	target Target
	g      graph.Graph
	doubt  bool
	// doubted stays true when the delivery began in doubt.
	doubted bool
	void    Voider
	// written is called once all is written.
	written func()
	// patientBorn is when the case's patient can have been born.
	patientBorn graph.Span
	// shrunk is true after a transaction was refused as too large.
	shrunk bool
	// asLinks is true after a refusal to look up references.
	asLinks bool
	// looked is true once the target was searched for what is to be created.
	looked bool
	// ledger is what is known to stand, unsaved the part not yet written down.
	ledger  map[string]store.LedgerEntry
	unsaved []store.LedgerEntry
	items   map[string]*Item
	hashes  hashes
	result  Result
}

func (r *run) begin(ctx context.Context) error {
	r.result = Result{CaseKey: r.g.CaseKey, Sequence: r.g.Sequence}
	if err := checkGraph(r.g); err != nil {
		return err
	}
	if failure := r.target.Serves.admits(r.g); failure != nil {
		return failure
	}
	delivered, err := r.load(ctx)
	switch {
	case err != nil:
		return err
	case delivered > r.g.Sequence:
		return &Failure{Class: target.Permanent, Reason: LaterDelivered}
	case r.target.Rung != RungDocument:
		return nil
	}
	r.void = nil // an older document is replaced by the newer, not changed
	if r.g, err = asDocument(r.g, r.ledger); err != nil {
		return &Failure{Class: target.Permanent, Reason: ContentInvalid, Cause: err}
	}
	return nil
}

// load reads what the ledger knows of the case, and the highest state of it that
// stands complete.
func (r *run) load(ctx context.Context) (delivered int, err error) {
	var shared []string
	for _, res := range r.g.Resources {
		if res.Shared {
			shared = append(shared, res.Key)
		}
	}
	known, delivered, err := r.Engine.ledger.Entries(ctx, r.target.Name, r.g.CaseKey, shared)
	if err != nil {
		return 0, err
	}
	// What this run has learned is newer than what is stored.
	for _, e := range r.unsaved {
		known[e.RoleKey] = e
	}
	r.ledger = known
	return delivered, nil
}

// write plans and sends until nothing is left to send.
func (r *run) write(ctx context.Context) error {
	if failure := r.fill(ctx); failure != nil {
		return failure
	}
	for pass := 0; pass < passes; pass++ {
		ops, err := plan(r.g, r.ledger, r.void, r.hashes)
		if err != nil {
			return err
		}
		if len(ops) == 0 {
			return nil
		}
		if failure := r.resolve(ctx, ops); failure != nil {
			return failure
		}
		if r.doubt || r.unguarded(ops) {
			r.doubt, r.looked = false, true
			if _, failure := r.reconcile(ctx, ops); failure != nil {
				return failure
			}
			continue
		}
		if failure := r.pass(ctx, ops); failure != nil {
			return failure
		}
		if r.shrunk {
			r.shrunk = false
			pass = -1 // nobody was raced with; each time it is half as large
		}
	}
	return &Failure{Class: target.Retry, Reason: LostRace}
}

// looksFirst reports whether a first write goes out only after a look at the
// target. A PUT under an id of ours carries no condition, so it would overwrite
// what stands there, and double what stands under an id of the server; on the
// lower rungs the target's own condition is not relied on alone.
func (r *run) looksFirst() bool { return r.target.Rung != RungConditionalCreate }

// unguarded reports whether a first write would go out without that look.
func (r *run) unguarded(ops []op) bool {
	return r.looksFirst() && !r.looked && len(only(ops, func(o op) bool { return o.action == create })) > 0
}

// pass sends what many cases share, or, when that stands, the case itself.
func (r *run) pass(ctx context.Context, ops []op) error {
	first := only(ops, func(o op) bool { return o.shared })
	if len(first) == 0 {
		return asError(r.send(ctx, ops))
	}
	// Two cases that bring the same new generator would race for it and one of
	// them would be refused as a whole; so one goes first and the others wait.
	end, err := r.alone(ctx)
	if err != nil {
		return err
	}
	defer end()
	if _, err := r.load(ctx); err != nil {
		return err
	}
	if first = r.missing(first); len(first) == 0 {
		return nil
	}
	if r.looksFirst() {
		// Who was alone before may have sent it and got no answer, after we looked.
		if _, failure := r.reconcile(ctx, first); failure != nil {
			return failure
		}
		first = r.missing(first)
	}
	if len(first) > 0 {
		if failure := r.send(ctx, first); failure != nil {
			return failure
		}
	}
	return r.save(ctx, 0)
}

// missing are the ops on what is not known to stand.
func (r *run) missing(ops []op) []op {
	return only(ops, func(o op) bool { _, known := r.ledger[o.key]; return !known })
}

// alone waits until no other case of this target writes what cases share (a
// patient too), and returns what ends that. Where a look takes the place of the
// target's condition, other processes wait too. Who holds it waits for the target
// and then for a seat, so it must not be waited for on a seat.
func (r *run) alone(ctx context.Context) (end func(), err error) {
	defer fhirserver.Outside(ctx)()
	r.Engine.shared.Lock()
	common, ok := r.Engine.ledger.(exclusive)
	if !ok || !r.looksFirst() {
		return r.Engine.shared.Unlock, nil
	}
	others, err := common.Alone(ctx, r.target.Name)
	if err != nil {
		r.Engine.shared.Unlock()
		return nil, err
	}
	return func() {
		others()
		r.Engine.shared.Unlock()
	}, nil
}

// asError keeps a nil *Failure from becoming an error that is not nil.
func asError(f *Failure) error {
	if f == nil {
		return nil
	}
	return f
}

func only(ops []op, keep func(op) bool) []op {
	var some []op
	for _, o := range ops {
		if keep(o) {
			some = append(some, o)
		}
	}
	return some
}

// learn takes note of a resource that stands on the target.
func (r *run) learn(e store.LedgerEntry, effect Effect) *Item {
	e.Written = r.now()
	r.ledger[e.RoleKey] = e
	r.unsaved = append(r.unsaved, e)
	i := &Item{Role: e.Role, Key: e.RoleKey, Type: e.Type, Effect: effect, ServerID: e.ServerID, Version: e.Version}
	if before, ok := r.items[e.RoleKey]; ok && before.Effect == Created && effect != Voided {
		i.Effect = Created // created by us a moment ago, whatever came after
	}
	r.items[e.RoleKey] = i
	return i
}

// save writes down what the run has learned, even when the delivery was
// cancelled: it is true all the same, and losing it costs a reading.
func (r *run) save(ctx context.Context, complete int) error {
	if len(r.unsaved) == 0 && complete == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 15*time.Second)
	defer cancel()
	if err := r.Engine.ledger.Record(ctx, r.target.Name, r.g.CaseKey, r.unsaved, complete); err != nil {
		return fmt.Errorf("recording what stands on the target: %w", err)
	}
	r.unsaved = nil
	return nil
}

// finished completes the result with what did not have to be sent.
func (r *run) finished() Result {
	for _, res := range r.g.Resources {
		if i, ok := r.items[res.Key]; ok {
			r.result.Items = append(r.result.Items, *i)
			delete(r.items, res.Key)
		} else if e, ok := r.ledger[res.Key]; ok {
			r.result.Items = append(r.result.Items, Item{Role: res.Role, Key: res.Key, Type: res.Type, Effect: Unchanged, ServerID: e.ServerID, Version: e.Version})
		}
	}
	for _, key := range slices.Sorted(maps.Keys(r.items)) { // what was voided is in no graph
		r.result.Items = append(r.result.Items, *r.items[key])
	}
	return r.result
}

// checkGraph refuses what would break pairing or identity: it is our mistake.
func checkGraph(g graph.Graph) error {
	if g.CaseKey == "" || g.Sequence < 1 {
		return errors.New("checking graph: case key and sequence are required")
	}
	seen := make(map[string]bool, len(g.Resources))
	for _, r := range g.Resources {
		switch {
		case r.Key == "" || r.Type == "" || r.UUID == "" || r.SearchBy == "" || len(r.Body) == 0:
			return fmt.Errorf("checking graph: %s is incomplete", r.Role)
		case seen[r.Key]:
			return fmt.Errorf("checking graph: the key of %s occurs twice", r.Role)
		}
		seen[r.Key] = true
	}
	return nil
}
