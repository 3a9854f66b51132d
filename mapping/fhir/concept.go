package fhir

import (
	"fmt"
	"slices"
	"sync"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
	"enbloc/mapping/term"
)

// codings holds the ready-made codings of every concept of our own: our own
// first, then the standard codes that mean the same or more. They are shared by
// all resources and never changed.
type codings struct {
	free     map[string][]model.Coding // by our code; no code that needs a licence
	licensed map[string][]model.Coding
	standard map[string]model.Coding // by key
}

var allCodings = sync.OnceValue(func() codings {
	all := codings{free: map[string][]model.Coding{}, licensed: map[string][]model.Coding{}, standard: map[string]model.Coding{}}
	for _, c := range term.Codes() {
		all.standard[c.Key] = coding(c.System, c.Code, c.Display)
	}
	for _, c := range term.Concepts() {
		free := []model.Coding{coding(term.System, c.Code, c.Display)}
		licensed := free
		for _, s := range c.Standards {
			licensed = append(licensed[:len(licensed):len(licensed)], all.standard[s.Code.Key])
			if s.Code.Licence != term.SNOMEDLicensed {
				free = append(free[:len(free):len(free)], all.standard[s.Code.Key])
			}
		}
		all.free[c.Code], all.licensed[c.Code] = free, licensed
	}
	return all
})

func coding(system, code, display string) model.Coding {
	return model.Coding{System: &system, Code: &code, Display: model.Str(display)}
}

// own is one of our concepts by group and value of the report. A value that
// the table lacks stops the mapping: it would go out uncoded.
func (m *mapper) own(group, value string) model.CodeableConcept {
	c, ok := term.Own(group, value)
	if !ok {
		m.fail(fmt.Errorf("a value of group %q has no concept in the code table", group))
		return model.CodeableConcept{}
	}
	all := allCodings()
	codes := all.free[c.Code]
	if m.opt.Licensed {
		codes = all.licensed[c.Code]
	}
	return m.withLocal(model.CodeableConcept{Coding: codes}, m.opt.Site.For(c.Code, ""))
}

// withLocal adds codes of the site behind the others.
func (m *mapper) withLocal(c model.CodeableConcept, locals []term.Local) model.CodeableConcept {
	for _, l := range locals {
		c.Coding = append(c.Coding[:len(c.Coding):len(c.Coding)], coding(l.System, l.Code, l.Display))
	}
	return c
}

// ownIn is one of our concepts in an organ: a site may have a code of its own
// for the concept in this organ alone.
func (m *mapper) ownIn(group, value string, organ report.Organ) model.CodeableConcept {
	c := m.own(group, value)
	concept, _ := term.Own(group, value)
	where, ok := term.Own("organ", string(organ))
	if !ok {
		return c
	}
	locals := m.opt.Site.For(concept.Code, where.Code)
	return m.withLocal(c, slices.DeleteFunc(locals, func(l term.Local) bool { return l.Organ == "" }))
}

// ownText is one of our concepts with words for people.
func (m *mapper) ownText(group, value, text string) model.CodeableConcept {
	c := m.own(group, value)
	c.Text = model.Str(text)
	return c
}

// standard is a standard code alone, or with words for people.
func (m *mapper) standard(key, text string) model.CodeableConcept {
	c, ok := m.coding(key)
	if !ok {
		return model.Text(text)
	}
	return model.CodeableConcept{Coding: []model.Coding{c}, Text: model.Str(text)}
}

// coding is the coding of a standard code; ok is false when the site may not
// send it.
func (m *mapper) coding(key string) (c model.Coding, ok bool) {
	code, ok := term.Lookup(key)
	if !ok {
		m.fail(fmt.Errorf("the code table has no %q", key))
		return model.Coding{}, false
	}
	if code.Licence == term.SNOMEDLicensed && !m.opt.Licensed {
		return model.Coding{}, false
	}
	return allCodings().standard[key], true
}

// with adds a standard code behind those of a concept, where it may be sent.
func (m *mapper) with(c model.CodeableConcept, key string) model.CodeableConcept {
	if extra, ok := m.coding(key); ok {
		c.Coding = append(c.Coding[:len(c.Coding):len(c.Coding)], extra)
	}
	return c
}

// label is the display of one of our concepts, for narratives.
func label[T ~string](group string, value T) string {
	c, ok := term.Own(group, string(value))
	if !ok {
		return ""
	}
	return c.Display
}
