package delivery

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"enbloc/mapping/graph"
	"enbloc/server/store"
)

// action is what has to be done for one resource.
type action int

const (
	create action = iota
	update
	void
)

// op is one resource that has to be written.
type op struct {
	action   action
	role     string
	key      string
	kind     string // R4 type
	uuid     string
	searchBy graph.SearchBy
	system   string // of the key
	shared   bool
	fixed    bool // immutable or shared: never updated
	// local is the body as mapping made it, or without what has no place yet;
	// resolved is what the hospital's references become when it is written.
	local    body
	resolved resolutions
	hash     string
	// partial marks a first write that leaves out references to what has no
	// place yet; a second write completes it.
	partial  bool
	pointers []string
	// entry is what the ledger knows; zero for a create.
	entry store.LedgerEntry
}

// effect is what the op brings about when it succeeds.
func (o op) effect() Effect { return [...]Effect{Created, Updated, Voided}[o.action] }

// condition finds the resource on the target by its key.
func (o op) condition() string {
	return graph.Resource{Key: o.key, SearchBy: o.searchBy}.ConditionIn(cmp.Or(o.system, graph.RoleKeySystem))
}

// hashOf is the hash that tells a changed resource: over the body before any
// reference is resolved, so that it does not depend on the target.
func hashOf(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:])
}

// hashes are those of a graph, by role key: a graph is planned several times.
type hashes map[string]string

func (h hashes) of(r graph.Resource) string {
	hash, known := h[r.Key]
	if !known {
		hash = hashOf(r.Body)
		h[r.Key] = hash
	}
	return hash
}

// plan compares a graph with the ledger of its target: a key that is not there
// is a create, another hash an update, and a key that the graph has no longer
// is voided. Shared and immutable resources are only ever created.
func plan(g graph.Graph, ledger map[string]store.LedgerEntry, voider Voider, hashes hashes) ([]op, error) {
	ops := make([]op, 0, len(g.Resources))
	system := g.Named().RoleKeySystem
	inGraph := make(map[string]bool, len(g.Resources))
	for _, r := range g.Resources {
		inGraph[r.Key] = true
	}
	for _, e := range sortedEntries(ledger, func(e store.LedgerEntry) bool {
		return voider != nil && !inGraph[e.RoleKey] && !e.Voided && e.CaseKey != ""
	}) {
		body, err := voider(e.Type, e.Body)
		if err != nil {
			return nil, fmt.Errorf("voiding %s: %w", e.Role, err)
		}
		if body == nil {
			continue // the voider leaves this type as it is
		}
		ops = append(ops, op{action: void, role: e.Role, key: e.RoleKey, system: system, kind: e.Type, local: bodyOf(body), hash: hashOf(body), entry: e})
	}
	for _, r := range g.Resources {
		e, known := ledger[r.Key]
		fixed := r.Shared || r.Immutable
		if known && fixed {
			continue
		}
		o := op{action: update, role: r.Role, key: r.Key, kind: r.Type, uuid: r.UUID, searchBy: r.SearchBy, system: system,
			shared: r.Shared, fixed: fixed, pointers: r.Pointers, hash: hashes.of(r), entry: e}
		switch {
		case !known:
			o.action = create
		case e.Hash == o.hash:
			continue
		}
		o.local = bodyOf(r.Body)
		ops = append(ops, o)
	}
	return ops, nil
}

// references maps the urn of every graph resource that has a place on the
// target to its literal reference.
func references(g graph.Graph, ledger map[string]store.LedgerEntry, rung int) map[string]string {
	refs := make(map[string]string, len(g.Resources))
	for _, r := range g.Resources {
		switch e, known := ledger[r.Key]; {
		case known:
			refs[r.Reference()] = r.Type + "/" + e.ServerID
		case rung == RungClientIDs:
			refs[r.Reference()] = r.Type + "/" + r.Key
		}
	}
	return refs
}

// write writes the body with the references in refs, and those that were
// resolved, made literal.
func (o op) write(out *bytes.Buffer, refs map[string]string) {
	o.local.write(out, func(raw []byte) (string, bool) {
		if to, ok := refs[string(raw)]; ok {
			return to, true
		}
		return o.resolved.literal(raw)
	})
}

// linked is what write writes.
func (o op) linked(refs map[string]string) []byte {
	var out bytes.Buffer
	out.Grow(len(o.local.raw) + 64)
	o.write(&out, refs)
	return out.Bytes()
}

// ledgerEntry is what the ledger keeps of an op that stands on the target.
func (o op) ledgerEntry(caseKey string, sequence int, id, version string, refs map[string]string) store.LedgerEntry {
	if o.shared {
		caseKey = ""
	}
	body, hash := o.linked(refs), o.hash
	if o.partial {
		hash = "" // no hash is equal to this one, so the next plan completes it
		if less, err := pruned(body); err == nil {
			body = less
		}
	}
	return store.LedgerEntry{RoleKey: o.key, Role: o.role, CaseKey: caseKey, Type: o.kind, ServerID: id, Version: version,
		Hash: hash, Body: body, Sequence: sequence, Voided: o.action == void}
}
