package preflight

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"enbloc/server/delivery"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// types are what a case consists of, in the order of writing.
var types = []string{"Device", "BodyStructure", "Condition", "Specimen", "Procedure", "MedicationAdministration", "Observation", "Media",
	"AdverseEvent", "ServiceRequest", "DiagnosticReport", "Provenance"}

// tagged types have no search by identifier in R4
// (http://hl7.org/fhir/R4/searchparameter-registry.html).
var tagged = []string{"AdverseEvent", "Provenance"}

func (r *run) readClaims(body []byte) bool {
	status := r.timed(GroupClaims, "capability-statement", "CapabilityStatement", func() (Status, string, string) {
		caps, err := fhirserver.ReadCapabilities(body)
		if err != nil {
			return Fail, "The answer to GET metadata is no CapabilityStatement.", "Check the address: it must be the FHIR base."
		}
		r.caps = caps
		raw, _ := json.Marshal(caps) // strings and lists always marshal; maps in order of keys
		r.report.CapabilityHash = hashOf(string(raw))
		r.report.FHIRVersion, r.report.Software = plain(caps.FHIRVersion), strings.TrimSpace(plain(caps.Software)+" "+plain(caps.Version))
		if !strings.HasPrefix(caps.FHIRVersion, "4.0") {
			return Fail, fmt.Sprintf("The server says FHIR %s; the records are FHIR R4 (4.0).", plain(caps.FHIRVersion)), "Ask for the address of the R4 interface."
		}
		return Pass, fmt.Sprintf("%s, FHIR %s, %d types.", or(r.report.Software, "No name"), r.report.FHIRVersion, len(caps.Types)), ""
	})
	return status != Fail
}

// plain keeps what another program says of itself to short, harmless text.
func plain(s string) string {
	s = strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f {
			return -1
		}
		return c
	}, s)
	if len(s) > 80 {
		s = s[:80]
	}
	return strings.ToValidUTF8(s, "")
}

func or(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// claims looks at what is said, and at what can be asked without writing.
func (r *run) claims(ctx context.Context) {
	r.timed(GroupClaims, "formats", "Formats", r.formats)
	r.timed(GroupClaims, "transaction-claimed", "Transactions", func() (Status, string, string) {
		if r.caps.Transaction() {
			return Pass, "The server says that it takes transactions.", ""
		}
		return Warn, "The server does not say that it takes transactions.", "Ask whether it does."
	})
	r.timed(GroupClaims, "types-claimed", "Types of a case", r.typesClaimed)
	r.timed(GroupClaims, "interactions-claimed", "Reading, searching and changing", r.interactionsClaimed)
	r.timed(GroupClaims, "search-claimed", "Finding by key", r.searchClaimed)
	r.timed(GroupClaims, "conditional-claimed", "Conditions", func() (Status, string, string) {
		return Info, fmt.Sprintf("Claimed for the %d types of a case: conditional create %s, ids of ours %s, conditional update %s.", len(types),
			r.share(func(t fhirserver.TypeCapabilities) *bool { return t.ConditionalCreate }),
			r.share(func(t fhirserver.TypeCapabilities) *bool { return t.UpdateCreate }),
			r.share(func(t fhirserver.TypeCapabilities) *bool { return t.ConditionalUpdate })), ""
	})
	r.profiles(ctx)
	r.terminology(ctx)
	r.smart(ctx)
	r.patientSearch(ctx)
	r.othersSearch(ctx)
}

// formats looks for JSON, which is what delivery writes. A server may name it by
// any of three words (http://hl7.org/fhir/R4/http.html#parameters).
func (r *run) formats() (Status, string, string) {
	var named []string
	for _, f := range r.caps.Formats {
		word, _, _ := strings.Cut(f, ";")
		word = strings.ToLower(strings.TrimSpace(word))
		if slices.Contains([]string{"json", "application/fhir+json", "application/json"}, word) {
			return Pass, "The server names JSON.", ""
		}
		named = append(named, or(plain(word), "one without a name"))
	}
	if len(named) == 0 {
		return Warn, "The server does not say in which formats it takes resources.", "Ask whether it takes application/fhir+json."
	}
	return Fail, "The server names " + some(named, 8) + " and not JSON, in which the records are written.", "Ask for application/fhir+json."
}

// interactionsClaimed holds what is offered by type against what the rung needs
// that the claims would give: what was written is read back, found again after a
// lost answer, and corrected. Creating is looked at by itself.
func (r *run) interactionsClaimed() (Status, string, string) {
	of, needed := types, []string{"read", "search-type", "update"}
	switch rung, _, _ := r.byClaims(); rung {
	case delivery.RungFile:
		return Skip, "Nothing is offered for writing, so it is not needed.", ""
	case delivery.RungDocument:
		of = []string{"DocumentReference"}
	}
	var missing []string
	said := false
	for _, i := range needed {
		var without []string
		for _, t := range of {
			if c := r.caps.Types[t]; len(c.Interactions) > 0 {
				said = true
				if !slices.Contains(c.Interactions, i) {
					without = append(without, t)
				}
			}
		}
		if len(without) > 0 {
			missing = append(missing, i+" of "+some(without, len(types)))
		}
	}
	switch {
	case !said:
		return Info, "The server does not say what can be done with which type.", ""
	case len(missing) > 0:
		return Warn, "Not offered: " + strings.Join(missing, "; ") + ".", "Ask for these interactions: without them what was written cannot be read back, found after a lost answer, or corrected."
	}
	return Pass, "Reading, searching and updating are offered for all that is written.", ""
}

// share says for how many types of a case something is claimed. What is not
// mentioned is unknown.
func (r *run) share(flag func(fhirserver.TypeCapabilities) *bool) string {
	yes, no := 0, 0
	for _, t := range types {
		switch f := flag(r.caps.Types[t]); {
		case f == nil:
		case *f:
			yes++
		default:
			no++
		}
	}
	return fmt.Sprintf("yes %d, no %d, not said %d", yes, no, len(types)-yes-no)
}

// missingTypes are those that the server says it cannot create.
func (r *run) missingTypes() []string {
	var missing []string
	for _, t := range types {
		c, listed := r.caps.Types[t]
		if len(r.caps.Types) > 0 && (!listed || (len(c.Interactions) > 0 && !slices.Contains(c.Interactions, "create"))) {
			missing = append(missing, t)
		}
	}
	return missing
}

func (r *run) typesClaimed() (Status, string, string) {
	missing := r.missingTypes()
	switch {
	case len(r.caps.Types) == 0:
		return Warn, "The server does not list its types.", "Ask which types can be created and updated."
	case len(missing) == 0:
		return Pass, fmt.Sprintf("All %d types of a case can be created.", len(types)), ""
	}
	return Warn, "Not offered for writing: " + strings.Join(missing, ", ") + ".", "Ask for create and update of these types."
}

func (r *run) searchClaimed() (Status, string, string) {
	var missing []string
	for _, t := range types {
		param := "identifier"
		if slices.Contains(tagged, t) {
			param = "_tag"
		}
		// _tag belongs to all types and is listed by few servers.
		if c, listed := r.caps.Types[t]; listed && param == "identifier" && len(c.SearchParams) > 0 && !slices.Contains(c.SearchParams, param) {
			missing = append(missing, t)
		}
	}
	if len(missing) > 0 {
		return Warn, "No search by identifier is offered for " + strings.Join(missing, ", ") + ".", "Ask for the search parameter identifier: by it what stands is found after a lost answer."
	}
	return Pass, "The search by identifier is offered, or nothing is said against it.", ""
}

func (r *run) smart(ctx context.Context) {
	r.timed(GroupClaims, "smart", "Sign-in description", func() (Status, string, string) {
		a := r.saw("smart-configuration", r.Client.WellKnown(ctx, "smart-configuration"))
		var c struct {
			TokenEndpoint string   `json:"token_endpoint"`
			Algorithms    []string `json:"token_endpoint_auth_signing_alg_values_supported"`
			Grants        []string `json:"grant_types_supported"`
			Scopes        []string `json:"scopes_supported"`
		}
		if a.Err != nil || a.Status != http.StatusOK || json.Unmarshal(a.Body, &c) != nil || c.TokenEndpoint == "" {
			return Info, "The server publishes no smart-configuration; sign-in is by what was agreed.", ""
		}
		var missing []string
		if len(c.Grants) > 0 && !slices.Contains(c.Grants, "client_credentials") {
			missing = append(missing, "the grant client_credentials")
		}
		if without := unscoped(c.Scopes); len(c.Scopes) > 0 && len(without) > 0 {
			missing = append(missing, "scopes to write "+some(without, len(types)))
		}
		found := fmt.Sprintf("The server publishes a smart-configuration with a token endpoint; signatures: %s.", or(plain(strings.Join(c.Algorithms, ", ")), "not said"))
		if ours := r.Client.Algorithm(); ours != "" && len(c.Algorithms) > 0 {
			if !slices.Contains(c.Algorithms, ours) {
				return Warn, found + " Our key signs by " + ours + ", which is not among them.", "Ask for " + ours + ", or sign in with a key of another kind (RSA: RS384, on P-384: ES384)."
			}
			found += " Ours, " + ours + ", is among them."
		}
		if len(missing) > 0 {
			return Warn, found + " Not named there: " + strings.Join(missing, "; ") + ".", "Ask for a client of the kind backend service with these rights, or for another way to sign in."
		}
		return Info, found, ""
	})
}

// unscoped are the types of a case for whose writing no scope of the list
// speaks, in the words of either version of SMART's scopes: system/T.write and
// system/T.cruds (http://hl7.org/fhir/smart-app-launch/scopes-and-launch-context.html).
func unscoped(scopes []string) []string {
	var without []string
	for _, t := range types {
		writes := func(scope string) bool {
			of, right, ok := strings.Cut(strings.TrimPrefix(scope, "system/"), ".")
			right, _, _ = strings.Cut(right, "?")
			return ok && strings.HasPrefix(scope, "system/") && (of == t || of == "*") &&
				(right == "*" || right == "write" || strings.HasPrefix(right, "c") && strings.Contains(right, "u"))
		}
		if !slices.ContainsFunc(scopes, writes) {
			without = append(without, "system/"+t)
		}
	}
	return without
}

// patientSearch asks for a patient who cannot exist, and then for the test
// patient where one was given.
func (r *run) patientSearch(ctx context.Context) {
	ask := func(system, value string) (int, fhirserver.Answer) {
		hits, a := r.Client.Search(ctx, fhirserver.Query{Type: "Patient", Param: "identifier", Values: []string{fhirserver.Token(system, value)}})
		r.saw("search Patient", a)
		if hits == nil {
			return -1, a
		}
		return len(hits), a
	}
	status := r.timed(GroupClaims, "patient-search", "Finding a patient", func() (Status, string, string) {
		n, a := ask(System, "HTEST-nobody-"+r.report.Run)
		switch {
		case n < 0:
			return Warn, fmt.Sprintf("Patients cannot be searched by identifier, with the identifier out of the URL (POST _search: %d).", a.Status), "Ask for the search by POST; until then let the server find the patient (--patient conditional), name the patient by the identifier alone (--patient logical), or let identifiers stand in URLs (--target-search-in-url)."
		case n > 0:
			r.facts.wrongPatients = true
			return Fail, fmt.Sprintf("A search for a patient who cannot exist returns %d: the server ignores the condition.", n), "Do not use this server: records would be filed under wrong patients. Ask for a search by identifier that works."
		case r.TestPatient == "":
			return Pass, "Patients can be searched by identifier. Give --test-patient SYSTEM|VALUE to see whether yours is found.", ""
		}
		return Pass, "Patients can be searched by identifier.", ""
	})
	if r.TestPatient == "" || status != Pass {
		return
	}
	r.timed(GroupClaims, "test-patient", "Finding the test patient", func() (Status, string, string) {
		system, value, _ := strings.Cut(r.TestPatient, "|")
		n, a := ask(system, value)
		switch {
		case n < 0:
			return Warn, fmt.Sprintf("The search for the test patient was not answered (%d).", a.Status), "Run it again; if it stays so, ask what the server does not take of this identifier."
		case n == 1:
			r.facts.testPatient = true
			return Pass, "The test patient is there, once.", ""
		case n == 0:
			return Warn, "The test patient is not there.", "Check the identifier system: cases wait until the patient is found."
		}
		return Fail, fmt.Sprintf("There are %d patients with the test patient's identifier.", n), "Have them merged."
	})
}

// others are what a record refers to besides the patient. Delivery looks each up
// by its identifier, and names by identifier alone whom it does not find.
var others = []struct{ kind, id, word string }{{"Encounter", "encounter-search", "an encounter"}, {"Practitioner", "practitioner-search", "a person of the staff"}}

func (r *run) othersSearch(ctx context.Context) {
	if r.Pipeline != nil && r.Pipeline.Dress.Document {
		return // a document names them by identifier and looks nobody up
	}
	for _, o := range others {
		r.timed(GroupClaims, o.id, "Finding "+o.word, func() (Status, string, string) {
			hits, a := r.Client.Search(ctx, fhirserver.Query{Type: o.kind, Param: "identifier", Values: []string{fhirserver.Token(System, "HTEST-nobody-"+r.report.Run)}})
			r.saw("search "+o.kind, a)
			switch class := a.Reaction(r.Clock()).Class; {
			case len(hits) > 0:
				return Fail, fmt.Sprintf("A search for %s that cannot exist returns %d: the server ignores the condition.", o.kind, len(hits)),
					"Ask for a search of " + o.kind + " by identifier that works: records could name another than was meant."
			case hits != nil:
				return Pass, o.kind + " can be searched by identifier.", ""
			case class == target.StepDown || class == target.Permanent:
				return Warn, fmt.Sprintf("%s cannot be searched by identifier (%d), so it is named by identifier alone and no link leads there.", o.kind, a.Status),
					"Ask for the search of " + o.kind + " by identifier."
			}
			return Fail, fmt.Sprintf("The search for %s was not answered (%d). Cases that name one wait for it.", o.kind, a.Status),
				"Ask for the permission to search " + o.kind + " by identifier."
		})
	}
}
