// Package intake accepts documents: a report, or a later part of one. It
// decodes and checks them, finds their case, and commits document, new state,
// outbox rows and jobs in one transaction.
//
// It promises four things. What is refused leaves nothing behind. The same
// document again gives the same answer and changes nothing. What was accepted
// can be mapped: the case is mapped before it is committed. And nothing is
// guessed: a part whose identifiers fit one case joins it, one that fits none
// waits, one that fits several, or contradicts its case, is refused.
//
// The work is done on a snapshot, outside any transaction; the transaction then
// proves that the snapshot still holds and writes. Where it does not hold any
// more, the work is done again. So the only writer that SQLite has is never
// kept waiting for checking or mapping.
package intake

import (
	"context"
	"errors"
	"time"

	"enbloc/mapping"
	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// Outbox takes what has to be delivered, in the transaction of its acceptance.
type Outbox interface {
	EnqueueTx(ctx context.Context, tx *store.Tx, caseKey string, sequence int) error
}

// Within is run at the end of an accepting transaction, also when the document
// changed nothing; its error undoes everything.
type Within func(ctx context.Context, tx *store.Tx, r Receipt) error

// Options are what an Intake needs.
type Options struct {
	// Store and Pipeline are required.
	Store    *store.Store
	Pipeline mapping.Pipeline
	// Outbox is required; a service without targets gives one that does nothing.
	Outbox Outbox
	// Tenant separates several senders' worlds in one database; empty is fine.
	Tenant string
	// Targets is how many targets render what was accepted: a state that was
	// mapped on acceptance stays in memory until so many have asked for it.
	Targets int
	// Clock overrides the time (tests); nil means time.Now.
	Clock func() time.Time
}

// Intake accepts documents. It is safe for concurrent use.
type Intake struct {
	Options
	fresh *fresh
	desks *desks
}

// New returns an Intake.
func New(o Options) *Intake {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	return &Intake{Options: o, fresh: newFresh(o.Targets), desks: newDesks()}
}

// Outcome says what became of an accepted document.
type Outcome string

// A document either counts in its case or waits for it.
const (
	Accepted Outcome = "accepted"
	Parked   Outcome = "parked"
)

// Receipt answers an accepted document.
type Receipt struct {
	Outcome Outcome `json:"outcome"`
	// Case and Sequence name the state that the document counts in; empty and
	// zero while it is parked.
	Case     string `json:"case,omitempty"`
	Sequence int    `json:"sequence,omitempty"`
	// Revision is that of the document itself.
	Revision int              `json:"revision"`
	Findings []report.Finding `json:"findings"`
	// Repeated is true when the document was known and nothing was written.
	Repeated bool `json:"-"`
}

// replans is how often the work is done again when others are faster.
const replans = 20

// Accept accepts a document of the kind. Its errors are a [*Rejection], or a
// fault of kind Conflict, Busy, Unavailable or Internal; after an error nothing
// was written. Within may be nil.
func (in *Intake) Accept(ctx context.Context, kind store.Kind, raw []byte, within Within) (Receipt, error) {
	leave, err := in.desks.take(ctx)
	if err != nil {
		return Receipt{}, err
	}
	defer leave()
	doc, err := read(kind, raw)
	if err != nil {
		return Receipt{}, err
	}
	for range replans {
		receipt, err := in.attempt(ctx, doc, within)
		if !errors.Is(err, errMoved) {
			return receipt, err
		}
		if err := ctx.Err(); err != nil {
			return Receipt{}, fault.Wrap("accepting document", fault.Unavailable, err)
		}
	}
	return Receipt{}, fault.New(fault.Busy, "Others are changing the same case all the time. Send the same document again later.")
}

// attempt plans on a snapshot and commits the plan.
func (in *Intake) attempt(ctx context.Context, doc document, within Within) (Receipt, error) {
	p, err := in.plan(ctx, doc)
	if err != nil {
		return Receipt{}, err
	}
	if p.receipt.Repeated && within == nil {
		return p.receipt, nil
	}
	if err := in.commit(ctx, doc, p, within); err != nil {
		return Receipt{}, err
	}
	return p.receipt, nil
}
