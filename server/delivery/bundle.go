package delivery

import (
	"bytes"
	"slices"

	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// buildBundle frames encoded resources as a transaction. The frame is written
// by hand around the bodies: marshalling them once more would cost several
// times as much and could change their bytes. Everything put into the frame is
// made of letters, digits and -.:/=|"; nothing needs escaping but the base.
//
// A create refers to its neighbours in the bundle by urn:uuid; whatever stands
// on the target already is named Type/id. The base URL never gets into a
// reference, because some servers would keep it as it is.
//
// What the hospital owns is named as it was resolved or, where the target looks
// it up, as mapping names it.
func buildBundle(t Target, ops []op, refs map[string]string) []byte {
	var b bytes.Buffer
	size := 64
	for _, o := range ops {
		size += len(o.local.raw) + 400
	}
	b.Grow(size)
	b.WriteString(`{"resourceType":"Bundle","type":"transaction","entry":[`)
	for i, o := range ops {
		if i > 0 {
			b.WriteByte(',')
		}
		writeEntry(&b, t, o, refs)
	}
	b.WriteString(`]}`)
	return b.Bytes()
}

func writeEntry(b *bytes.Buffer, t Target, o op, refs map[string]string) {
	if t.LooksUp {
		o.resolved = nil
	}
	id := o.entry.ServerID
	if o.action == create && t.Rung == RungClientIDs {
		id = o.key
	}
	if id == "" {
		condition := o.condition()
		b.WriteString(`{"fullUrl":"urn:uuid:` + o.uuid + `","resource":`)
		o.write(b, refs)
		if t.Rung == RungConditionalUpdate {
			b.WriteString(`,"request":{"method":"PUT","url":"` + o.kind + `?` + condition + `"}}`)
			return
		}
		b.WriteString(`,"request":{"method":"POST","url":"` + o.kind + `","ifNoneExist":"` + condition + `"}}`)
		return
	}
	b.WriteString(`{"fullUrl":`)
	writeString(b, t.Client.BaseURL()+"/"+o.kind+"/"+id)
	b.WriteString(`,"resource":`)
	b.Write(withID(o.linked(refs), id))
	b.WriteString(`,"request":{"method":"PUT","url":"` + o.kind + `/` + id + `"`)
	if o.entry.Version != "" {
		b.WriteString(`,"ifMatch":`)
		writeString(b, fhirserver.ETag(o.entry.Version))
	}
	b.WriteString(`}}`)
}

// withID puts the id in front: a body has none of its own.
func withID(body []byte, id string) []byte {
	out := make([]byte, 0, len(body)+len(id)+len(`"id":"",`))
	out = append(out, `{"id":"`...)
	out = append(out, id...)
	out = append(out, `",`...)
	return append(out, bytes.TrimLeft(body, " \n\t{")...)
}

// writeString writes a JSON string whose content holds quotes or backslashes
// only where an entity tag or a base URL has them.
func writeString(b *bytes.Buffer, s string) {
	b.WriteByte('"')
	for _, c := range []byte(s) {
		if c == '"' || c == '\\' {
			b.WriteByte('\\')
		}
		b.WriteByte(c)
	}
	b.WriteByte('"')
}

// sortedEntries gives the ledger entries that are wanted in the order of their
// keys, so that equal states make equal bundles.
func sortedEntries(ledger map[string]store.LedgerEntry, wanted func(store.LedgerEntry) bool) []store.LedgerEntry {
	keys := make([]string, 0, len(ledger))
	for key, e := range ledger {
		if wanted(e) {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	some := make([]store.LedgerEntry, len(keys))
	for i, key := range keys {
		some[i] = ledger[key]
	}
	return some
}
