package model

import "iter"

// Members goes over the members in their order. The values are of the types
// that Get returns. The object must not be changed meanwhile.
func (o *Object) Members() iter.Seq2[string, any] {
	return func(yield func(string, any) bool) {
		for _, m := range o.members {
			if !yield(m.name, m.value) {
				return
			}
		}
	}
}

// Empty reports whether the object has no members.
func (o *Object) Empty() bool { return len(o.members) == 0 }
