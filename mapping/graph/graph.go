// Package graph holds one case as a set of encoded FHIR R4 resources, before
// any server has been chosen for it.
//
// It is the seam between mapping and delivery: mapping fills a [Graph] and
// knows no server; delivery sends one and knows no clinical type. A resource
// names its neighbours by [Resource.Reference], so the same graph can become a
// transaction of creates, a transaction of updates under recorded ids, or
// single requests, by exchanging those strings only.
package graph

import (
	"cmp"
	"encoding/json"
)

// Graph is everything that one state of one case consists of, in the order in
// which it can be written without a forward reference wherever the model
// allows one; the DiagnosticReports come last but for the Provenances, so that
// a case half written is never visible as a report.
type Graph struct {
	// CaseKey is the opaque key of the case ("c" and 40 hexadecimal digits).
	// It stands as a tag on every resource of the case that is not Shared.
	CaseKey string
	// Sequence is the state of the case that this graph shows: 1 for the
	// first document accepted, one more for each later one.
	Sequence int
	// Resources have distinct Roles and distinct Keys.
	Resources []Resource
	// Born is when the patient can have been born by what the report says, to
	// find a record of somebody else under the identifier; may be empty.
	Born Span
	// Document is the whole state as one encoded document Bundle, for a target
	// that takes documents in a form of its own; nil where it takes none.
	Document json.RawMessage
	// Outside is how the case is called on a target that must not learn the keys
	// of the site. Its fields that are empty are those of every other target:
	// CaseKey, and the systems below.
	Outside Names
}

// Names are the key of a case and the systems of its keys, as a target sees
// them. They hold no character that a FHIR search or a URL would have to escape.
type Names struct{ CaseKey, CaseKeySystem, RoleKeySystem string }

// Named is Outside with nothing left empty.
func (g Graph) Named() Names {
	return Names{cmp.Or(g.Outside.CaseKey, g.CaseKey), cmp.Or(g.Outside.CaseKeySystem, CaseKeySystem), cmp.Or(g.Outside.RoleKeySystem, RoleKeySystem)}
}

// Span is a span of days, YYYY-MM-DD, both ends included; empty when not known.
type Span struct{ From, To string }

// Resource is one R4 resource of a case, without `id`, `meta.versionId` and
// `meta.lastUpdated`, which belong to the server.
type Resource struct {
	// Role says which part of the case this is, in a stable path of its own
	// ("lesion/1/size"). It holds no patient data and never changes between
	// revisions: identity hangs on it.
	Role string
	// Key is the opaque role key ("k" and 40 hexadecimal digits): the value of
	// the resource's identifier or tag, and its id where the server takes ids
	// of the client.
	Key string
	// Type is the R4 resource type.
	Type string
	// UUID is an RFC 4122 version 5 UUID made of Key.
	UUID string
	// Body is the resource as canonical JSON. References to other resources of
	// the graph read "urn:uuid:" + UUID; references to what the hospital owns
	// (Patient, Encounter, Practitioner) read "Type?identifier=system|value"
	// with the value escaped for a FHIR search and for a URL.
	Body json.RawMessage
	// SearchBy says which search parameter finds the resource by its key:
	// ByIdentifier, or ByTag for the types that R4 gives no identifier
	// parameter (AdverseEvent, Provenance).
	SearchBy SearchBy
	// Shared resources (a generator, the software) serve many cases: they are
	// created once by key and neither updated nor withdrawn with a case.
	Shared bool
	// Immutable resources (Provenance) are created once and never updated.
	Immutable bool
	// Pointers are the places of the report (JSON Pointers, RFC 6901) that this
	// resource says something of, for messages in the terms of the sender; may
	// be empty.
	Pointers []string
}

// SearchBy is the search parameter that finds a resource by its role key.
type SearchBy string

// The two ways to find a resource by its role key.
const (
	ByIdentifier SearchBy = "identifier"
	ByTag        SearchBy = "_tag"
)

// Systems of the keys that enbloc puts on every resource it writes.
const (
	RoleKeySystem = "https://enbloc.example/fhir/sid/role-key"
	CaseKeySystem = "https://enbloc.example/fhir/sid/case-key"
)

// Reference is how another resource of the same graph refers to this one.
func (r Resource) Reference() string { return "urn:uuid:" + r.UUID }

// Condition is the search condition that finds this resource on a server,
// as used in Bundle.entry.request.ifNoneExist. System and key hold no
// character that a FHIR search or a URL would have to escape.
func (r Resource) Condition() string { return r.ConditionIn(RoleKeySystem) }

// ConditionIn is Condition where keys have another system.
func (r Resource) ConditionIn(system string) string {
	return string(r.SearchBy) + "=" + system + "|" + r.Key
}
