package fhir

import (
	"errors"

	"enbloc/mapping/term"
)

// Options are the settings of a site and the place of a graph in its case.
type Options struct {
	// Key is the site's secret, at least 16 bytes. Every identity is made with
	// it; another key gives another record. It is never written anywhere.
	Key []byte
	// Tenant separates sites that share a key; it may be empty.
	Tenant string
	// Sequence is the state of the case, from 1.
	Sequence int
	// Earlier are the earlier revisions of the report, oldest first, that tell
	// which facts the present one changed; empty for a first revision.
	Earlier []Earlier
	// SoftwareVersion and BookVersion name the program and its rule book; the
	// zero value reads "unversioned".
	SoftwareVersion string
	BookVersion     string
	// Licensed says that the site holds a SNOMED CT licence. Without it only
	// codes of the Global Patient Set are sent.
	Licensed bool
	// NoProfiles leaves out the claims in meta.profile, for a target that
	// refuses resources which claim a profile that it does not know. By default
	// every resource for which we publish a profile claims it.
	NoProfiles bool
	// Site adds the site's own codes beside ours.
	Site term.Overlay
}

const minKeyBytes = 16

var (
	errShortKey = errors.New("the key that identities are made with has fewer than 16 bytes")
	errSequence = errors.New("the sequence of a case starts at 1")
)

// check refuses settings under which no identity could be trusted.
func (o Options) check() error {
	if len(o.Key) < minKeyBytes {
		return errShortKey
	}
	if o.Sequence < 1 {
		return errSequence
	}
	return nil
}

func orUnversioned(version string) string {
	if version == "" {
		return "unversioned"
	}
	return version
}
