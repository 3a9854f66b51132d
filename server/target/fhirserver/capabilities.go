package fhirserver

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"
)

// Capabilities is what a target claims about itself. A claim, not a fact: what
// is not mentioned is unknown, and what is mentioned may not work.
type Capabilities struct {
	FHIRVersion       string
	Software, Version string
	// Formats are those of resources. They are no part of the JSON, which is what a
	// change is told by: what was kept before they were read would have changed.
	Formats []string `json:"-"`
	// Interactions are those of the whole system ("transaction", "batch").
	Interactions []string
	// Types holds what is said by resource type.
	Types map[string]TypeCapabilities
}

// TypeCapabilities is what a target claims about one resource type. A pointer
// is nil where the statement says nothing.
type TypeCapabilities struct {
	Interactions      []string
	SearchParams      []string
	Versioning        string
	Profiles          []string // supportedProfile and profile
	UpdateCreate      *bool
	ConditionalCreate *bool
	ConditionalUpdate *bool
}

// Transaction reports whether the target claims to take transactions.
func (c Capabilities) Transaction() bool { return slices.Contains(c.Interactions, "transaction") }

// ReadCapabilities reads a CapabilityStatement of R4 or later by plain JSON:
// typed models refuse what they do not know, and so would the whole statement
// of a newer server be lost.
func ReadCapabilities(body []byte) (Capabilities, error) {
	type named struct {
		Code string `json:"code"`
		Name string `json:"name"`
	}
	var s struct {
		ResourceType string `json:"resourceType"`
		FHIRVersion  string `json:"fhirVersion"`
		Format       []string
		Software     struct{ Name, Version string }
		Rest         []struct {
			Mode        string  `json:"mode"`
			Interaction []named `json:"interaction"`
			Resource    []struct {
				Type              string   `json:"type"`
				Interaction       []named  `json:"interaction"`
				SearchParam       []named  `json:"searchParam"`
				Versioning        string   `json:"versioning"`
				Profile           string   `json:"profile"`
				Supported         []string `json:"supportedProfile"`
				UpdateCreate      *bool    `json:"updateCreate"`
				ConditionalCreate *bool    `json:"conditionalCreate"`
				ConditionalUpdate *bool    `json:"conditionalUpdate"`
			} `json:"resource"`
		} `json:"rest"`
	}
	if json.Unmarshal(body, &s) != nil || s.ResourceType != "CapabilityStatement" {
		return Capabilities{}, errors.New("reading capabilities: the answer is no CapabilityStatement")
	}
	c := Capabilities{FHIRVersion: s.FHIRVersion, Software: s.Software.Name, Version: s.Software.Version, Formats: s.Format, Types: map[string]TypeCapabilities{}}
	names := func(list []named) (all []string) {
		for _, n := range list {
			all = append(all, n.Code+n.Name)
		}
		return all
	}
	for _, rest := range s.Rest {
		if rest.Mode != "" && rest.Mode != "server" {
			continue
		}
		c.Interactions = append(c.Interactions, names(rest.Interaction)...)
		for _, r := range rest.Resource {
			profiles := r.Supported
			if r.Profile != "" && !strings.HasSuffix(r.Profile, "/StructureDefinition/"+r.Type) {
				profiles = append(profiles, r.Profile)
			}
			c.Types[r.Type] = TypeCapabilities{Profiles: profiles, Interactions: names(r.Interaction), SearchParams: names(r.SearchParam), Versioning: r.Versioning,
				UpdateCreate: r.UpdateCreate, ConditionalCreate: r.ConditionalCreate, ConditionalUpdate: r.ConditionalUpdate}
		}
	}
	return c, nil
}
