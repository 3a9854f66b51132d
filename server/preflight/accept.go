package preflight

import "slices"

// Accept is what stands after a person has kept a report where another stood.
// What writing has proven is replaced only by what writing has proven: a report
// that only read is taken over as far as it looked, so that what it found is no
// change any more, and leaves the way of writing as it was.
func Accept(before, now Report) Report {
	if now.Proven || !before.Proven {
		return now
	}
	before.Target, before.Software, before.FHIRVersion, before.CapabilityHash = now.Target, now.Software, now.FHIRVersion, now.CapabilityHash
	before.Checks = slices.Clone(before.Checks)
	for _, c := range now.Checks {
		if c.Status == Skip {
			continue
		}
		if i := slices.IndexFunc(before.Checks, func(had Check) bool { return had.ID == c.ID }); i >= 0 {
			before.Checks[i] = c
		} else {
			before.Checks = append(before.Checks, c)
		}
	}
	return before
}
