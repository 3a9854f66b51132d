package preflight

import (
	"fmt"
	"strings"

	"enbloc/server/delivery"
	"enbloc/server/target/fhirserver"
)

// choose finds the best rung that everything seen allows, and says what is
// lost there and what to ask for.
func (r *run) choose() {
	rung, first, why := r.byClaims()
	if r.facts.written {
		r.report.Proven = true
		rung, first, why = r.byFacts()
	}
	r.report.Rung, _ = delivery.RungNumbered(rung)
	r.report.FirstWrite, r.report.Why = first, why
	r.report.LooksUp = r.facts.looksUp
	r.report.Lost = append(r.report.Lost, r.report.Rung.Lost...)
	r.report.Usable = rung != delivery.RungFile && !r.facts.wrongPatients && !r.report.Trial.none()
	if r.facts.written && rung <= delivery.RungSingle && !r.facts.versions {
		r.report.Lost = append(r.report.Lost, "The server does not refuse an update of a version that is not current: what somebody else changes in our records in the same moment can be overwritten.")
	}
	for _, c := range r.report.Checks {
		if c.ID == "round-trip" && (c.Status == Fail || c.Status == Warn) {
			r.report.Lost = append(r.report.Lost, "Content: "+c.Found)
		}
		if (c.Status == Fail || c.Status == Warn) && strings.HasPrefix(c.Remedy, "Ask for ") {
			r.ask(c.Remedy)
		}
	}
	r.report.Sentence = r.sentence()
}

func (r *run) ask(remedy string) {
	wish, _, _ := strings.Cut(strings.TrimPrefix(remedy, "Ask for "), ". Until")
	wish, _, _ = strings.Cut(wish, ": ")
	wish, _, _ = strings.Cut(wish, " (http")
	wish = strings.TrimSuffix(wish, ".")
	for _, had := range r.report.Ask {
		if had == wish {
			return
		}
	}
	r.report.Ask = append(r.report.Ask, wish)
}

func (r *run) byFacts() (int, delivery.FirstWrite, string) {
	f := r.facts
	missing := r.missingTypes()
	switch {
	case !f.creates && f.document:
		return delivery.RungDocument, firstWrite(f), "Of all types only a document can be created."
	case !f.creates:
		return delivery.RungFile, "", "Nothing could be created."
	case !f.updates:
		return delivery.RungDocument, firstWrite(f), "Resources can be created and not updated, so a correction would have no way to its record."
	case len(missing) > 0:
		return delivery.RungDocument, firstWrite(f), "The server does not take " + strings.Join(missing, ", ") + ", without which a record has holes."
	case !f.byTag && !f.clientIDs:
		return delivery.RungDocument, firstWrite(f), "An adverse event or the note of its origin could not be found again, so a repetition could double them."
	case !f.transaction:
		return delivery.RungSingle, firstWrite(f), "Transactions are not taken."
	case !f.atomic:
		return delivery.RungSingle, firstWrite(f), "A transaction that fails keeps a half."
	case f.inTransaction && f.raceSafe: // before ids of ours: a write that is carried out late overwrites nothing
		return delivery.RungConditionalCreate, delivery.WithCondition, "Transactions are all or nothing, and a conditional create holds under repetition and race."
	case f.clientIDs && r.claimed(func(t fhirserver.TypeCapabilities) *bool { return t.UpdateCreate }):
		return delivery.RungClientIDs, delivery.WithClientID, "Transactions are all or nothing, and ids of ours are taken for every type."
	case f.inTransaction:
		return delivery.RungConditionalCreate, delivery.WithCondition, "Transactions are all or nothing, and a conditional create holds under repetition; under a race it did not."
	case f.conditionalUpdate:
		return delivery.RungConditionalUpdate, "", "Transactions are all or nothing, and of all conditions only that of an update works."
	}
	return delivery.RungSingle, firstWrite(f), "No condition works inside a transaction, so each resource is searched for before it is written."
}

// firstWrite is how one resource is created by itself.
func firstWrite(f facts) delivery.FirstWrite {
	switch {
	case f.condition:
		return delivery.WithCondition
	case f.clientIDs:
		return delivery.WithClientID
	}
	return delivery.AfterSearch
}

// claimed reports whether something is claimed for every type of a case.
func (r *run) claimed(flag func(fhirserver.TypeCapabilities) *bool) bool {
	for _, t := range types {
		if f := flag(r.caps.Types[t]); f == nil || !*f {
			return false
		}
	}
	return true
}

// byClaims is for a target that was only read, or not reached.
func (r *run) byClaims() (int, delivery.FirstWrite, string) {
	const unproven = " This is what the server says of itself; nothing was written to prove it."
	creates := func(c fhirserver.TypeCapabilities) *bool { return c.ConditionalCreate }
	ids := func(c fhirserver.TypeCapabilities) *bool { return c.UpdateCreate }
	updates := func(c fhirserver.TypeCapabilities) *bool { return c.ConditionalUpdate }
	_, documents := r.caps.Types["DocumentReference"]
	switch {
	case r.report.FHIRVersion == "" || !strings.HasPrefix(r.report.FHIRVersion, "4.0"):
		return delivery.RungFile, "", "The server could not be reached as an R4 server."
	case len(r.missingTypes()) > 0 && documents:
		return delivery.RungDocument, delivery.AfterSearch, "Not all types of a case are offered for writing." + unproven
	case len(r.missingTypes()) > 0:
		return delivery.RungFile, "", "Neither the types of a case nor documents are offered for writing." + unproven
	case !r.caps.Transaction():
		return delivery.RungSingle, delivery.AfterSearch, "Transactions are not offered." + unproven
	case r.claimed(creates):
		return delivery.RungConditionalCreate, delivery.WithCondition, "Transactions and conditional create are offered." + unproven
	case r.claimed(ids):
		return delivery.RungClientIDs, delivery.WithClientID, "Transactions and ids of ours are offered." + unproven
	case r.claimed(updates):
		return delivery.RungConditionalUpdate, "", "Transactions are offered, and of all conditions only that of an update." + unproven
	}
	return delivery.RungSingle, delivery.AfterSearch, "No condition is offered, so each resource is searched for before it is written." + unproven
}

// sentence is for the head of IT.
func (r *run) sentence() string {
	p := r.report
	name := or(p.Software, "The server")
	if p.FHIRVersion != "" {
		name += fmt.Sprintf(" (FHIR %s)", p.FHIRVersion)
	}
	var text string
	switch {
	case r.facts.wrongPatients:
		text = name + " ignores the patient's identifier in a search and must not be used, as records would be filed under wrong patients"
	case p.FHIRVersion == "":
		text = "The server could not be reached as a FHIR server, so nothing can be delivered"
	case p.Trial.none() && p.Trial.By == ByValidating:
		text = name + " finds fault with every one of the invented cases when it is asked by $validate, so nothing can be delivered to it as it is"
	case p.Trial.none():
		text = name + " takes not one of the invented cases, so nothing can be delivered to it as it is"
	case !p.Usable:
		text = name + " takes nothing in, so records can only be put into a folder as files"
	default:
		text = fmt.Sprintf("%s can be delivered to by rung %d of %d (%s)", name, p.Rung.Number, delivery.LastRung, p.Rung.Title)
		if !p.Proven {
			text += ", as far as it says of itself"
		}
	}
	if p.Trial != nil && !p.Trial.none() {
		text += "; " + p.Trial.phrase()
	}
	switch {
	case len(p.Lost) == 0:
		text += "; nothing is lost"
	case !r.facts.wrongPatients && p.FHIRVersion != "":
		text += "; lost: " + phrase(p.Lost[0])
	}
	if len(p.Ask) > 0 {
		text += "; ask the vendor for " + strings.Join(p.Ask[:min(len(p.Ask), 3)], ", and for ")
	}
	return text + "."
}

// phrase makes the first clause of a sentence part of another sentence.
func phrase(s string) string {
	s, _, _ = strings.Cut(s, ". ")
	s = strings.TrimSuffix(s, ".")
	return strings.ToLower(s[:1]) + s[1:]
}
