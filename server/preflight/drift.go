package preflight

// Change is one thing that is not as it was in an earlier report.
type Change struct {
	// What is the id of a check, or target, rung, usable, software, capability-hash.
	What string `json:"what"`
	Was  string `json:"was"`
	Is   string `json:"is"`
}

// Drift lists what has changed since an earlier report of the same target:
// what it claims, the rung, and checks whose outcome is another. Durations and
// figures do not count, nor does what only one of the two looked at: a report
// that only read says nothing about a rung that was proven.
func Drift(before, now Report) []Change {
	var all []Change
	differ := func(what, was, is string) {
		if was != is {
			all = append(all, Change{what, was, is})
		}
	}
	differ("target", before.Target, now.Target)
	if before.CapabilityHash != "" && now.CapabilityHash != "" {
		differ("capability-hash", before.CapabilityHash, now.CapabilityHash)
		differ("software", before.Software, now.Software)
	}
	if before.Proven == now.Proven {
		differ("rung", before.Rung.Title, now.Rung.Title)
		differ("usable", yes(before.Usable), yes(now.Usable))
	}
	was := map[string]Status{}
	for _, c := range before.Checks {
		was[c.ID] = c.Status
	}
	for _, c := range now.Checks {
		// What was skipped then or now says nothing.
		if s, looked := was[c.ID]; looked && s != Skip && c.Status != Skip {
			differ(c.ID, string(s), string(c.Status))
		}
	}
	return all
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
