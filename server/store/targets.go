package store

import (
	"context"
	"time"
)

// Preflight is what the last check of a target found.
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

// Preflight returns the last check of a target, or a fault of kind NotFound.
func (r reads) Preflight(ctx context.Context, target string) (Preflight, error) {
	p, err := scanPreflight(r.row(ctx, `SELECT `+preflightColumns+` FROM targets WHERE target = ?`, target))
	return p, found("preflight of this target", err)
}

// PutPreflight keeps a check in place of the one before.
func (t *Tx) PutPreflight(ctx context.Context, p Preflight) error {
	_, err := t.exec(ctx, `INSERT INTO targets (`+preflightColumns+`) VALUES (`+marks(7)+`)
		ON CONFLICT (target) DO UPDATE SET rung = excluded.rung, first_write = excluded.first_write, usable = excluded.usable,
		capability_hash = excluded.capability_hash, document = excluded.document, checked_at = excluded.checked_at`,
		p.Target, p.Rung, p.FirstWrite, flag(p.Usable), p.CapabilityHash, p.Document, micros(p.Checked))
	return translate("storing preflight", err)
}
