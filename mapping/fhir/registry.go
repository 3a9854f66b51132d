package fhir

import (
	"slices"
	"strings"
)

// registry knows which resource says what the report says at a JSON Pointer.
type registry struct {
	roles map[string][]string // pointer to roles, in the order of mapping
}

// cover records that a resource says what stands at the pointers.
func (r *registry) cover(role string, pointers ...string) {
	if r.roles == nil {
		r.roles = map[string][]string{}
	}
	for _, p := range pointers {
		if !slices.Contains(r.roles[p], role) {
			r.roles[p] = append(r.roles[p], role)
		}
	}
}

// find returns the roles that say what stands at a pointer: at it, below it,
// or at the nearest place above it that is mapped as a whole.
func (r *registry) find(pointer string) []string {
	if roles := r.roles[pointer]; len(roles) > 0 {
		return roles
	}
	var below []string
	inside := pointer + "/"
	for p := range r.roles {
		if strings.HasPrefix(p, inside) {
			below = append(below, p)
		}
	}
	if len(below) > 0 {
		slices.Sort(below)
		var roles []string
		for _, p := range below {
			for _, role := range r.roles[p] {
				if !slices.Contains(roles, role) {
					roles = append(roles, role)
				}
			}
		}
		return roles
	}
	for at := strings.LastIndexByte(pointer, '/'); at > 0; at = strings.LastIndexByte(pointer[:at], '/') {
		if roles := r.roles[pointer[:at]]; len(roles) > 0 {
			return roles
		}
	}
	return nil
}
