package store

import (
	"context"
	"time"
)

// Preflight is what a check of a target found.
type Preflight struct {
	Target string
	// Rung is how the target is to be written, 1 to 6, and FirstWrite how single
	// requests create there; see package delivery.
	Rung       int
	FirstWrite string
	// Usable is false when the check found that nothing can be delivered.
	Usable bool
	// CapabilityHash tells a target that has changed.
	CapabilityHash string
	// Document is the whole report as JSON; it holds no patient data.
	Document []byte
	Checked  time.Time
}

func scanPreflight(row scanner) (Preflight, error) {
	var p Preflight
	var usable, checked int64
	err := row.Scan(&p.Target, &p.Rung, &p.FirstWrite, &usable, &p.CapabilityHash, &p.Document, &checked)
	p.Usable, p.Checked = usable != 0, fromMicros(checked)
	return p, err
}

const preflightColumns = `target, rung, first_write, usable, capability_hash, document, checked_at`

// Preflight returns the check of a target that a person kept last, or a fault of
// kind NotFound.
func (r reads) Preflight(ctx context.Context, target string) (Preflight, error) {
	p, err := scanPreflight(r.row(ctx, `SELECT `+preflightColumns+` FROM targets WHERE target = ?`, target))
	return p, found("preflight of this target", err)
}

// PutPreflight keeps a check in place of the one before. The readings of a watch
// were held against that one, so they go.
func (t *Tx) PutPreflight(ctx context.Context, p Preflight) error {
	if err := t.putPreflight(ctx, p); err != nil {
		return err
	}
	_, err := t.exec(ctx, `DELETE FROM targets WHERE target IN (?, ?)`, FirstReading.of(p.Target), LastReading.of(p.Target))
	return translate("forgetting readings", err)
}

func (t *Tx) putPreflight(ctx context.Context, p Preflight) error {
	_, err := t.exec(ctx, `INSERT INTO targets (`+preflightColumns+`) VALUES (`+marks(7)+`)
		ON CONFLICT (target) DO UPDATE SET rung = excluded.rung, first_write = excluded.first_write, usable = excluded.usable,
		capability_hash = excluded.capability_hash, document = excluded.document, checked_at = excluded.checked_at`,
		p.Target, p.Rung, p.FirstWrite, flag(p.Usable), p.CapabilityHash, p.Document, micros(p.Checked))
	return translate("storing preflight", err)
}

// Reading is a check that nobody asked for: the service makes it while it runs.
// It stands beside the one that a person kept and never replaces it.
type Reading string

// The readings that are kept of a target.
const (
	LastReading Reading = "last reading"
	// FirstReading is what others are held against while no person has kept one.
	FirstReading Reading = "first reading"
)

// of is the key of a reading: no name of a target holds a blank.
func (r Reading) of(target string) string { return target + " " + string(r) }

// Reading returns a reading of a target, or a fault of kind NotFound.
func (r reads) Reading(ctx context.Context, target string, which Reading) (Preflight, error) {
	p, err := r.Preflight(ctx, which.of(target))
	p.Target = target
	return p, err
}

// PutReading keeps a reading in place of the one before.
func (t *Tx) PutReading(ctx context.Context, which Reading, p Preflight) error {
	p.Target = which.of(p.Target)
	return t.putPreflight(ctx, p)
}

// Learned is what a target has shown while it was written.
type Learned struct {
	Target string
	// Rung is used instead of Refused, which the target answered with Status; 0
	// while it takes the rung it was set to.
	Rung, Refused, Status int
	Stepped               time.Time
	// MaxEntries is how many entries of a transaction it takes; 0: not known.
	MaxEntries int
	At         time.Time
}

// Learned returns what was learned of a target since its last preflight, which
// looked for itself; the zero Learned when there is nothing.
func (r reads) Learned(ctx context.Context, target string) (Learned, error) {
	scan := func(row scanner) (Learned, error) {
		var l Learned
		var stepped, at int64
		err := row.Scan(&l.Target, &l.Rung, &l.Refused, &l.Status, &stepped, &l.MaxEntries, &at)
		l.Stepped, l.At = fromMicros(stepped), fromMicros(at)
		return l, err
	}
	all, err := list(ctx, r, scan, `SELECT target, rung, refused, status, stepped_at, max_entries, learned_at FROM learned l WHERE target = ?
		AND NOT EXISTS (SELECT 1 FROM targets t WHERE t.target = l.target AND t.checked_at > l.learned_at)`, target)
	if err != nil || len(all) == 0 {
		return Learned{}, translate("reading what was learned of a target", err)
	}
	return all[0], nil
}

// PutLearned keeps what was learned in place of what was known before.
func (t *Tx) PutLearned(ctx context.Context, l Learned) error {
	_, err := t.exec(ctx, `INSERT INTO learned (target, rung, refused, status, stepped_at, max_entries, learned_at) VALUES (`+marks(7)+`)
		ON CONFLICT (target) DO UPDATE SET rung = excluded.rung, refused = excluded.refused, status = excluded.status, stepped_at = excluded.stepped_at,
		max_entries = excluded.max_entries, learned_at = excluded.learned_at`,
		l.Target, l.Rung, l.Refused, l.Status, micros(l.Stepped), l.MaxEntries, micros(l.At))
	return translate("keeping what was learned of a target", err)
}
