package delivery

import (
	"context"
	"encoding/json"
	"slices"
)

// sole leaves out the doubles that somebody at the target has marked as entered
// in error, which is how a record is taken back where nothing may be deleted. Of
// several that are all marked nobody knows which was ours, so they stay doubles.
func sole(hits []json.RawMessage) []json.RawMessage {
	if len(hits) < 2 {
		return hits
	}
	if good := slices.DeleteFunc(slices.Clone(hits), func(h json.RawMessage) bool { return erroneous(h) }); len(good) == 1 {
		return good
	}
	return hits
}

// erroneous reports whether a resource is marked as entered in error, in the ways
// of the R4 types that a case has.
func erroneous(resource []byte) bool {
	var r struct {
		ResourceType       string
		Status             string
		Active             *bool
		VerificationStatus struct{ Coding []struct{ Code string } }
	}
	if json.Unmarshal(resource, &r) != nil {
		return false
	}
	for _, c := range r.VerificationStatus.Coding {
		if c.Code == "entered-in-error" {
			return true
		}
	}
	return r.Status == "entered-in-error" || (r.ResourceType == "BodyStructure" && r.Active != nil && !*r.Active)
}

// doubles searches for what was just created without a condition that is safe
// under races. A second copy stops the case: which of them others refer to by
// now is nothing to guess.
func (r *run) doubles(ctx context.Context, ops []op) *Failure {
	created := only(ops, func(o op) bool { return o.entry.ServerID == "" })
	found, failure := r.findByKeys(ctx, created)
	if failure != nil {
		return failure
	}
	var twice []Difference
	for _, o := range created {
		if len(sole(found[o.key])) > 1 {
			twice = append(twice, Difference{o.role, o.kind, Added})
		}
	}
	if len(twice) > 0 {
		return r.conflict(Doubled, twice)
	}
	return nil
}
