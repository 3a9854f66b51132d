package fhir

import "enbloc/mapping/graph"

// frame is what the hand-written part of an entry costs, about.
const frame = 320

// Bundle writes a graph as a transaction of conditional creates: each resource
// is made unless one with its role key is there already. The resources are
// encoded once, in the mapping; the frame around them is written by hand,
// because a Bundle struct would scan every byte of them twice more. All strings
// in the frame are hexadecimal digits, UUIDs, type names and URLs of ours, none
// of which JSON would escape.
func Bundle(g graph.Graph) []byte {
	size, system := frame, g.Named().RoleKeySystem
	for _, r := range g.Resources {
		size += len(r.Body) + frame
	}
	b := append(make([]byte, 0, size), `{"resourceType":"Bundle","type":"transaction","entry":[`...)
	for i, r := range g.Resources {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(b, `{"fullUrl":"`...), r.Reference()...)
		b = append(append(b, `","resource":`...), r.Body...)
		b = append(append(b, `,"request":{"method":"POST","url":"`...), r.Type...)
		b = append(append(b, `","ifNoneExist":"`...), r.ConditionIn(system)...)
		b = append(b, `"}}`...)
	}
	return append(b, `]}`...)
}
