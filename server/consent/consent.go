// Package consent asks, at the moment of sending, whether a patient's case may go
// to a recipient.
//
// It promises to fail closed: a source that cannot be read, or whose answer is
// not understood, is an error and never a yes. Its errors name no patient.
package consent

import (
	"context"

	"enbloc/mapping/report"
)

// Source answers for one recipient.
type Source interface {
	// Allows reports whether the patient's cases may be sent now. After an error
	// nothing may be sent.
	Allows(ctx context.Context, patient report.Identifier) (bool, error)
}

// Always is the source where no consent is needed, by law or by a waiver.
type Always struct{}

// Allows is true.
func (Always) Allows(context.Context, report.Identifier) (bool, error) { return true, nil }
