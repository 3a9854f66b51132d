package pseudo

import (
	"regexp"
	"strings"

	"enbloc/mapping/fhir/model"
)

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// members writes those members of an object that the list names.
func (w *work) members(out *model.Object, path string, from *model.Object) {
	for name, value := range from.Members() {
		if path == "" && (name == "resourceType" || name == "meta") {
			continue // written already
		}
		at := join(path, name)
		if bare, ok := strings.CutPrefix(name, "_"); ok {
			if v := w.absence(join(path, bare), value); v != nil {
				out.Set(name, v)
			}
			continue
		}
		if v := w.member(at, value); v != nil {
			out.Set(name, v)
		}
	}
}

// member writes one value, nil when it stays.
func (w *work) member(at string, value any) any {
	way := w.rules.kind(w.kind, at)
	switch {
	case way == Concept || way == Measure || way == Span || way == Link || way == Key || way == Lesion:
		return w.each(at, value, func(o *model.Object) *model.Object { return w.structure(way, at, o) })
	case way != "":
		return w.primitive(way, at, value)
	case w.rules.inner[w.kind][at]:
		return w.each(at, value, func(o *model.Object) *model.Object { return w.part(at, o) })
	}
	w.stays(at, value, NotListed)
	return nil
}

// each applies a writer to an object or to every object of a list; what comes
// out empty is left out.
func (w *work) each(at string, value any, write func(*model.Object) *model.Object) any {
	switch v := value.(type) {
	case *model.Object:
		if out := write(v); out != nil && !out.Empty() {
			return out
		}
	case []any:
		kept := []any{}
		for _, item := range v {
			if o, ok := item.(*model.Object); !ok {
				w.stays(at, item, NotListed)
			} else if out := write(o); out != nil && !out.Empty() {
				kept = append(kept, out)
			}
		}
		if len(kept) > 0 {
			return kept
		}
	default:
		w.stays(at, value, NotListed)
	}
	return nil
}

// part writes an element with parts of its own, nil when something is missing
// that R4 requires in it.
func (w *work) part(at string, from *model.Object) *model.Object {
	out := &model.Object{}
	w.members(out, at, from)
	need, ok := innerRequired[at]
	switch {
	case ok && out.Get(need) == nil && at == maskedInner:
		// A reference to nothing says in words that it is one.
		nobody := masked()
		nobody.Set("display", "Masked")
		out.Set(need, nobody)
		w.tell(join(at, need), Changed, Masked, "", "data-absent-reason masked")
	case ok && out.Get(need) == nil:
		w.tell(at, Stays, NothingLeft, "", "")
		return nil
	case at == "component" && !says(out):
		w.tell(at, Stays, NothingLeft, "", "")
		return nil
	}
	return out
}

// says reports whether a component has a value, or the reason why not.
func says(component *model.Object) bool {
	_, has := member(component, "value[x]")
	return has || component.Get("dataAbsentReason") != nil
}

var codeForm = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9-]{0,63}$`)

// primitive writes a value that is no object, nil when it stays.
func (w *work) primitive(way Way, at string, value any) any {
	text, isText := value.(string)
	switch way {
	case Truth:
		if _, ok := value.(bool); ok {
			w.tell(at, Leaves, Allowed, render(value), render(value))
			return value
		}
	case Figure:
		if _, ok := value.(interface{ Int64() (int64, error) }); ok {
			w.tell(at, Leaves, Allowed, render(value), render(value))
			return value
		}
	case Code:
		if isText && codeForm.MatchString(text) {
			w.tell(at, Leaves, Allowed, text, text)
			return text
		}
	case Word:
		if isText && w.rules.words[text] {
			w.tell(at, Leaves, Allowed, text, text)
			return text
		}
		w.stays(at, value, NotAWord)
		return nil
	case Date:
		if isText {
			return w.date(at, text, w.moved(text))
		}
	case Instant:
		if isText {
			return w.date(at, text, w.movedInstant(text))
		}
	}
	w.stays(at, value, NotListed)
	return nil
}

func (w *work) date(at, from, to string) any {
	switch {
	case to == "":
		w.tell(at, Stays, TooPrecise, from, "")
		return nil
	case w.Dates == Month:
		w.tell(at, Changed, Cut, from, to)
	default:
		w.tell(at, Changed, Moved, from, to)
	}
	return to
}

// absence lets out why a primitive has no value (the extension
// data-absent-reason), and no other extension.
func (w *work) absence(at string, value any) any {
	o, ok := value.(*model.Object)
	if ok && w.rules.kind(w.kind, at) != "" {
		list, _ := o.Get("extension").([]any)
		if len(list) == 1 {
			e, ok := list[0].(*model.Object)
			code, isText := "", false
			if ok {
				code, isText = e.Get("valueCode").(string)
			}
			if ok && e.Get("url") == model.DataAbsentReason && isText && codeForm.MatchString(code) {
				w.tell(at, Leaves, Allowed, code, code)
				return object("extension", []any{object("url", model.DataAbsentReason, "valueCode", code)})
			}
		}
	}
	w.stays(at, value, NotListed)
	return nil
}
