package practice

import (
	"maps"
	"net/http"
	"reflect"
	"time"
)

// Behaviour is a kind of server that was met, by what it does and not by name.
type Behaviour struct {
	Name string
	// About says what is special, in a sentence.
	About string
	Shape Shape
}

// Behaviours lists the kinds of server that can be played: how the servers that
// were measured differ, then what forces each way of writing.
func Behaviours() []Behaviour {
	return []Behaviour{
		{"strict", "All or nothing, conditions and references checked, a lost race is 412.", Shape{}},
		{"strict-409", "As strict, but a lost race is 409 and an equal update makes no version.", Shape{Stale: 409, KeepsVersion: true}},
		{"lenient-400", "All or nothing, content unchecked, a lost race is 400.", Shape{Stale: 400, Lenient: true}},
		{"entry-by-entry", "Says 200 and lets each entry of a transaction stand or fail alone; content unchecked; no search by POST.",
			Shape{EntryByEntry: true, Lenient: true, NoPostSearch: true}},
		{"half-transaction", "A transaction stops at its first bad entry and keeps what came before.", Shape{NotAtomic: true}},
		{"own-ids", "Gives every id itself.", Shape{NoClientIDs: true}},
		{"async", "Answers a write 202 and does it 100 ms later; the outcome is told at the Content-Location, in a Bundle as R5 has it.",
			Shape{Later: 100 * time.Millisecond}},
		{"small", "Takes no more than 20 entries at once: a larger transaction is 413.", Shape{MostEntries: 20}},
		{"racy", "As strict-409, and takes conditional updates; writes that meet may lose with 409, and conditional updates may leave doubles.",
			Shape{Stale: 409, KeepsVersion: true, ConditionalUpdate: true, Racy: true}},
		{"late-search", "Answers a search with what the same search found up to a minute ago, unless the request says Cache-Control: no-cache.",
			Shape{LateSearch: time.Minute}},
		{"rung-3", "Neither ids of the client nor conditional create: conditional update is left.",
			Shape{NoClientIDs: true, NoConditionalCreate: true, ConditionalUpdate: true}},
		{"rung-4", "No transaction: single requests are left.", Shape{NoTransaction: true}},
		{"rung-5", "Documents are all that can be created.", Shape{OnlyDocuments: true}},
		{"rung-6", "Nothing can be written: files are left.", Shape{ReadOnly: true}},
		{"liar", "Can write nothing but single requests, and claims to do everything.",
			Shape{NoTransaction: true, NoConditionalCreate: true, NoClientIDs: true, Claims: true}},
	}
}

// oneByOne applies each entry alone. Ids are given first, so that a link to an
// entry that fails leads to nothing, as it was seen to.
func (r *Receiver) oneByOne(entries []*entry) {
	to := links{map[string]string{}, map[string]string{}}
	for _, e := range entries {
		if e.refused = r.identify(e); e.refused == nil {
			to.add(e)
		}
	}
	for _, e := range entries {
		var undo []func()
		switch {
		case e.refused != nil:
		case e.method == http.MethodDelete:
			e.refused = r.deleteAll([]*entry{e})
		case e.writes():
			if e.refused = r.prepare(e, to); e.refused == nil {
				r.put(e, &undo)
			}
		}
	}
}

// sameContent compares a stored tree with a new one, without what the server
// itself put in.
func sameContent(stored, fresh map[string]any) bool {
	bare := func(tree map[string]any) map[string]any {
		out := maps.Clone(tree)
		delete(out, "id")
		meta, _ := out["meta"].(map[string]any)
		meta = maps.Clone(meta)
		delete(meta, "versionId")
		delete(meta, "lastUpdated")
		if delete(out, "meta"); len(meta) > 0 {
			out["meta"] = meta
		}
		return out
	}
	return reflect.DeepEqual(bare(stored), bare(fresh))
}
