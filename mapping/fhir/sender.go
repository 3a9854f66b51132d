package fhir

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"enbloc/mapping/graph"
)

// What delivery needs of the report beside the resources: the sender's own
// places, to name them when a server refuses something, and the span of days in
// which the patient can have been born.

// pointers lists by role the places of the report that a resource speaks of.
func (m *mapper) pointers() map[string][]string {
	byRole := make(map[string][]string, len(m.made))
	for pointer, roles := range m.where.roles {
		for _, role := range roles {
			byRole[role] = append(byRole[role], pointer)
		}
	}
	for _, all := range byRole {
		slices.Sort(all)
	}
	for _, r := range m.made {
		if len(byRole[r.Role]) > 0 {
			continue
		}
		if at := m.section(r.Role); at != "" {
			byRole[r.Role] = []string{at}
		} else if event, ok := eventOf(r.Role); ok {
			byRole[r.Role] = byRole[event+"/facts"]
		}
	}
	return byRole
}

// lesionParts and parts are where the report holds what a role is made of, for
// the resources that are made of a whole section.
var (
	lesionParts = map[string]string{"examination": "/examination", "specimen": "/specimen", "histology": "/histology", "resection": "/resection",
		"resection-facts": "/resection", "haemostasis": "/resection", "base-coagulation": "/resection", "injectate": "/resection"}
	parts = map[string]string{"session": "/session", "sedation": "/before/sedation", "before": "/before", "image": "/images", "plan": "/plan"}
)

// section is the place of the report that a role is made of; empty when there is
// none.
func (m *mapper) section(role string) string {
	part, rest, _ := strings.Cut(role, "/")
	if part != "lesion" {
		return parts[part]
	}
	number, rest, _ := strings.Cut(rest, "/")
	n, err := strconv.Atoi(number)
	i := m.lesionNumbered(n)
	if err != nil || i < 0 {
		return ""
	}
	about, _, _ := strings.Cut(rest, "/")
	return "/lesions/" + strconv.Itoa(i) + lesionParts[about]
}

// eventOf is the role of the event that a role is a part of.
func eventOf(role string) (string, bool) {
	parts := strings.SplitN(role, "/", 3)
	if len(parts) < 3 || parts[0] != "event" {
		return "", false
	}
	return parts[0] + "/" + parts[1], true
}

// ageSlack is how far an age may be off: by one year it often is, where it was
// taken from the day of admission or rounded (common practice, no source).
const ageSlack = 1

// born is empty when the report gives no age in whole years.
func (m *mapper) born() graph.Span {
	age, ok := m.rep.Patient.AgeY.Value()
	day := m.rep.Session.Start.At()
	if !ok || age < 0 || age > 130 || day.IsZero() {
		return graph.Span{}
	}
	years := int(age)
	return graph.Span{From: day.AddDate(-years-1-ageSlack, 0, 0).Format(time.DateOnly), To: day.AddDate(-years+ageSlack, 0, 0).Format(time.DateOnly)}
}
