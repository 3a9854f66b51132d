package preflight

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"enbloc/mapping/term"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// ownProfiles is where the addresses of our profiles begin.
const ownProfiles = term.Base + "/StructureDefinition/"

// profiles compares the profiles that the server lists for the types of a case
// with those that our records claim.
func (r *run) profiles(context.Context) {
	r.timed(GroupClaims, "profiles", "Profiles", func() (Status, string, string) {
		ours, others := 0, map[string]bool{}
		for _, t := range types {
			for _, url := range r.caps.Types[t].Profiles {
				if strings.HasPrefix(url, ownProfiles) {
					ours++
					continue
				}
				_, name, _ := strings.Cut(url, "/StructureDefinition/")
				others[t+" "+or(plain(name), "without a name")] = true
			}
		}
		var list []string
		for name := range others {
			list = append(list, name)
		}
		slices.Sort(list)
		switch {
		case ours == 0 && len(list) == 0:
			return Info, "The server lists no profile for any type of a case. Our records claim those of the package enbloc.resection.", ""
		case len(list) == 0:
			return Pass, fmt.Sprintf("The server lists %d of our profiles and none of others.", ours), ""
		}
		return Info, fmt.Sprintf("The server lists %d of our profiles, and of others %d: %s.", ours, len(list), some(list, 8)),
			"If the server enforces profiles, load the package into it (enbloc package), or deliver with --no-profiles; --target-dress adds what a guide asks for."
	})
}

func some(list []string, most int) string {
	if len(list) > most {
		return strings.Join(list[:most], ", ") + fmt.Sprintf(" and %d more", len(list)-most)
	}
	return strings.Join(list, ", ")
}

// verdictOf asks the server whether a code belongs to a code system
// (http://hl7.org/fhir/R4/codesystem-operation-validate-code.html); nil: it
// gives no verdict.
func (r *run) verdictOf(ctx context.Context, system, code string) *bool {
	a := r.saw("CodeSystem/$validate-code", r.Client.Operation(ctx, "CodeSystem", "$validate-code", encode(map[string]any{
		"resourceType": "Parameters", "parameter": []any{map[string]any{"name": "url", "valueUri": system}, map[string]any{"name": "code", "valueCode": code}}})))
	var p struct {
		Parameter []struct {
			Name  string
			Value *bool `json:"valueBoolean"`
		}
	}
	if a.Err != nil || json.Unmarshal(a.Body, &p) != nil {
		return nil
	}
	for _, one := range p.Parameter {
		if one.Name == "result" {
			return one.Value
		}
	}
	return nil
}

// terminology asks whether the server checks codes at all, and which editions
// it holds of the code systems that a record uses.
func (r *run) terminology(ctx context.Context) {
	r.timed(GroupClaims, "terminology", "Terminology", func() (Status, string, string) {
		const status = "http://hl7.org/fhir/observation-status"
		right, wrong := r.verdictOf(ctx, status, "final"), r.verdictOf(ctx, status, "htest-no-such-code")
		switch {
		case right == nil:
			return Info, "The server answers no question about codes; it takes them as they come.", "Ask a terminology server about our codes, if the hospital has one: enbloc codes --validate URL."
		case !*right || wrong == nil || *wrong:
			return Warn, "The server's answers about codes are wrong: it was asked about one that R4 has and one that nobody has.", "Do not rely on its checks of codes; ask the vendor about $validate-code."
		}
		var held, absent []string
		for _, one := range []struct{ name, url string }{{"ours", term.System}, {"LOINC", "http://loinc.org"}, {"SNOMED CT", "http://snomed.info/sct"}, {"UCUM", "http://unitsofmeasure.org"}} {
			hits, a := r.Client.Search(ctx, fhirserver.Query{Type: "CodeSystem", Plain: true, Param: "url", Values: []string{one.url}})
			r.saw("search CodeSystem", a)
			if len(hits) == 0 {
				absent = append(absent, one.name)
				continue
			}
			var cs struct{ URL, Version string }
			_ = json.Unmarshal(hits[0], &cs) // a search gives resources; without a version none is named
			held = append(held, one.name+" "+or(plain(cs.Version), "without a version"))
		}
		return Pass, "The server checks codes. Code systems that it shows: " + or(strings.Join(held, ", "), "none") +
			"; not shown: " + or(strings.Join(absent, ", "), "none") + ".", ""
	})
}

// validation asks whether the server validates without storing
// (http://hl7.org/fhir/R4/resource-operation-validate.html).
func (r *run) validation(ctx context.Context) {
	r.timed(GroupContent, "validate", "Checking without storing", func() (Status, string, string) {
		refuses := func(c map[string]any) (answered, refused bool) {
			a := r.saw("Observation/$validate", r.Client.Operation(ctx, "Observation", "$validate", encode(c)))
			var o struct{ ResourceType string }
			if a.Err != nil || json.Unmarshal(a.Body, &o) != nil || o.ResourceType != "OperationOutcome" ||
				a.Status == http.StatusNotFound || a.Status == http.StatusMethodNotAllowed || a.Status == http.StatusNotImplemented {
				return false, false
			}
			return true, target.ReadIssues(a.Body).Wrong() || a.Status >= http.StatusBadRequest
		}
		answered, _ := refuses(r.canary("Observation", "validated", nil))
		if !answered {
			return Info, "The server does not offer $validate; what it refuses shows only when it is sent.", ""
		}
		if _, refused := refuses(r.canary("Observation", "invalid", map[string]any{"status": "htest-no-such-status"})); !refused {
			return Warn, "The server offers $validate, and finds nothing wrong with a status that R4 does not have.", "Do not rely on it; validate with the package (enbloc package) in a validator of your own."
		}
		r.facts.validates = true
		return Pass, "The server offers $validate, and it finds a status that R4 does not have.", ""
	})
}

// Rate is what was measured of the server's pace, by searches that find
// nothing: writing is slower.
type Rate struct {
	// Alone is the median time of one search by itself.
	AloneMillis float64 `json:"alone_ms"`
	// AtOnce is how many calls at once gained something over half as many.
	AtOnce int `json:"at_once"`
	// PerSecond is what was answered in a second with so many.
	PerSecond float64 `json:"per_second"`
	// Throttled is true when the server asked for less.
	Throttled bool `json:"throttled"`
}

const (
	ratePerRound = 12  // searches in each round
	rateMost     = 8   // at once; a workstation's load, not a test of strength
	rateGain     = 1.2 // a round that gains less than a fifth gains nothing
)

// rate finds how many calls at once are worth making. It stops at the first
// sign that the server has had enough.
func (r *run) rate(ctx context.Context) {
	r.timed(GroupLimits, "rate", "Pace", func() (Status, string, string) {
		var rate Rate
		for n := 1; n <= rateMost && ctx.Err() == nil; n *= 2 {
			median, perSecond, status := r.round(ctx, n)
			if status == http.StatusTooManyRequests || status == http.StatusServiceUnavailable {
				rate.Throttled = true
				break
			}
			if status != http.StatusOK {
				return Warn, fmt.Sprintf("With %d at once the answer was %d.", n, status), "Ask for the number of calls at once that the server bears."
			}
			if n == 1 {
				rate.AloneMillis = float64(median.Microseconds()) / 1000
			} else if perSecond < rate.PerSecond*rateGain {
				break
			}
			rate.AtOnce, rate.PerSecond = n, perSecond
		}
		r.report.Rate = &rate
		found := fmt.Sprintf("A search takes %.1f ms; %d at once gave %.0f a second.", rate.AloneMillis, rate.AtOnce, rate.PerSecond)
		switch {
		case rate.Throttled && rate.AtOnce == 0:
			return Warn, "The server asks for fewer calls already with one after the other.", "Ask for a higher rate: delivery keeps to what it is told, and cases pile up."
		case rate.Throttled:
			return Warn, found + " With more it asked for less.", "Nothing has to be set: delivery slows down when it is asked to. Ask the vendor for a higher rate if cases pile up."
		}
		return Pass, found + " More gained nothing or was not tried. Delivery finds this pace by itself.", ""
	})
}

// round makes searches n at a time and returns the median time of one, the
// answers in a second, and the first status that was not 200.
func (r *run) round(ctx context.Context, n int) (time.Duration, float64, int) {
	var mu sync.Mutex
	var times []time.Duration
	var answers []fhirserver.Answer
	todo := make(chan int, ratePerRound)
	for i := range ratePerRound {
		todo <- i
	}
	close(todo)
	start := time.Now()
	var all sync.WaitGroup
	for range n {
		all.Go(func() {
			for i := range todo {
				name := fmt.Sprintf("rate-%d-%d", n, i)
				_, a := r.Client.Search(ctx, fhirserver.Query{Type: "Observation", Plain: true, Param: "identifier", Values: []string{fhirserver.Token(System, r.value(name))}})
				mu.Lock()
				times, answers = append(times, a.Duration), append(answers, a)
				mu.Unlock()
			}
		})
	}
	all.Wait()
	took := time.Since(start)
	status := http.StatusOK
	for _, a := range answers {
		r.saw("search Observation", a)
		if a.Status != http.StatusOK && status == http.StatusOK {
			status = a.Status
		}
	}
	slices.Sort(times)
	return times[len(times)/2], float64(len(times)) / took.Seconds(), status
}
