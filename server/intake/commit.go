package intake

import (
	"context"
	"errors"
	"slices"

	"enbloc/server/fault"
	"enbloc/server/store"
)

// errMoved: what the plan rested on is not so any more.
var errMoved = errors.New("the snapshot has moved")

// commit proves that the plan still holds and writes it.
func (in *Intake) commit(ctx context.Context, doc document, p *plan, within Within) error {
	state := stateID{p.mapped.CaseKey, p.mapped.Sequence}
	err := in.Store.InTx(ctx, func(tx *store.Tx) error {
		// Whoever works on the same case, or could match the same part, waits.
		tx.LockKeys(in.Tenant, slices.Concat(doc.keys, p.keys), p.seen.caseKey)
		if holds, err := in.holds(ctx, tx, doc, p); err != nil || !holds {
			return errors.Join(err, moved(!holds && err == nil))
		}
		// Before the queue hears of the row, as delivery may ask for the state at once;
		// and not before the commit, as another process may make another of it.
		if p.mapped.Sequence > 0 {
			tx.AfterCommit(func() { in.fresh.keep(state, p.mapped) })
		}
		if !p.receipt.Repeated {
			if err := in.write(ctx, tx, doc, p, within == nil); err != nil {
				return raced(err)
			}
		}
		if within != nil {
			if err := within(ctx, tx, p.receipt); err != nil {
				return err
			}
		}
		return nil
	})
	if within == nil { // else it is the caller's
		return raced(err)
	}
	return err
}

// raced: a row that is there already was not when we looked, as somebody else
// may commit between look and write on Postgres.
func raced(err error) error {
	if fault.Is(err, fault.Conflict) {
		return errMoved
	}
	return err
}

func moved(yes bool) error {
	if yes {
		return errMoved
	}
	return nil
}

// holds reports whether the store still shows what the plan has seen.
func (in *Intake) holds(ctx context.Context, tx reads, doc document, p *plan) (bool, error) {
	now, err := tx.Present(ctx, in.Tenant, doc.kind, doc.source, doc.partID(), p.seen.caseKey, p.keys)
	if err != nil || now.Latest != p.seen.latest {
		return false, err
	}
	if p.receipt.Repeated {
		return true, nil
	}
	if doc.kind != store.Report {
		cases, err := tx.CasesByKeys(ctx, in.Tenant, doc.keys)
		if err != nil || !slices.Equal(cases, p.seen.cases) {
			return false, err
		}
	}
	if p.receipt.Outcome == Parked {
		return true, nil
	}
	return now.Sequence == p.seen.sequence && slices.Equal(now.Parked, p.seen.parked), nil
}

// write stores document, case, state, keys, outbox rows and jobs. Alone: nothing
// else is written in the transaction.
func (in *Intake) write(ctx context.Context, tx *store.Tx, doc document, p *plan, alone bool) error {
	row := doc.row(in.Tenant)
	row.Received = in.Clock()
	if p.receipt.Outcome == Parked {
		row.State = store.Parked
		return tx.AddDocument(ctx, &row)
	}
	gather := tx.Gather
	if alone {
		gather = tx.Last
	}
	return gather(ctx, func() error { return in.join(ctx, tx, p, p.next(doc, row), row) })
}

// join writes a document into its case.
func (in *Intake) join(ctx context.Context, tx *store.Tx, p *plan, next store.Case, row store.Document) error {
	if err := tx.PutCase(ctx, next); err != nil {
		return err
	}
	row.State, row.CaseKey = store.Joined, next.Key
	if err := tx.AddDocument(ctx, &row); err != nil {
		return err
	}
	for _, id := range p.joins {
		if err := tx.JoinDocument(ctx, id, next.Key); err != nil {
			return err
		}
	}
	if err := tx.AddState(ctx, next.Key, next.Sequence, append(slices.Clone(p.keep), row.ID)); err != nil {
		return err
	}
	set := tx.SetCaseKeys
	if p.had.Key == "" { // which has none that could go
		set = tx.AddCaseKeys
	}
	if err := set(ctx, in.Tenant, next.Key, p.keys); err != nil {
		return err
	}
	return in.Outbox.EnqueueTx(ctx, tx, next.Key, next.Sequence)
}

// next is the case as it stands after the plan.
func (p *plan) next(doc document, row store.Document) store.Case {
	c := p.had
	if c.Key == "" {
		c = store.Case{Key: p.mapped.CaseKey, Tenant: row.Tenant, Source: row.Source, ReportID: row.PartID}
	}
	merged, _ := p.parts.merged()
	c.Sequence, c.Updated = p.mapped.Sequence, row.Received
	c.Revision, c.Status = int64(merged.Revision), string(merged.Status)
	c.Summary = summarise(merged)
	return c
}
