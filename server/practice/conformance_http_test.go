package practice_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"

	"github.com/google/uuid"
)

// statement is the CapabilityStatement, and what it says of one type.
func (s server) statement(kind string) (whole, rest, of map[string]any) {
	_, whole = s.call(http.MethodGet, "/metadata", "", "")
	rest = whole["rest"].([]any)[0].(map[string]any)
	for _, r := range rest["resource"].([]any) {
		if r := r.(map[string]any); r["type"] == kind {
			of = r
		}
	}
	return whole, rest, of
}

// has says whether a list holds an object with the value under the key.
func has(list any, key, value string) bool {
	all, _ := list.([]any)
	return slices.ContainsFunc(all, func(o any) bool { return o.(map[string]any)[key] == value })
}

// prefers posts a patient and a transaction with the preference; the answer is
// what the bodies are.
func (s server) prefers(what string) string {
	_, alone := s.post("/Patient", s.patient(s.v("pf"+what)), "Prefer", what)
	_, bundle := s.post("", `{"resourceType":"Bundle","type":"transaction","entry":[`+entry("Patient", s.patient(s.v("pt"+what)), "")+`]}`, "Prefer", what)
	first := bundle["entry"].([]any)[0].(map[string]any)
	_, resource := first["resource"]
	_, outcome := first["response"].(map[string]any)["outcome"]
	return fmt.Sprint(alone["resourceType"], " ", resource, " ", outcome)
}

// exchange is how requests and answers look.
var exchange = []question{
	{"metadata: version, format, transaction, what a Patient can do", "200 4.0.1 true true versioned-update true true", same, func(s server) string {
		status, _ := s.call(http.MethodGet, "/metadata", "", "")
		whole, rest, patient := s.statement("Patient")
		return fmt.Sprint(status, " ", whole["fhirVersion"], " ", slices.Contains(whole["format"].([]any), any("application/fhir+json")), " ",
			has(rest["interaction"], "code", "transaction"), " ", patient["versioning"], " ", patient["conditionalCreate"], " ", has(patient["searchParam"], "name", "identifier"))
	}},
	{"metadata: AdverseEvent is searched by tag, not by identifier", "true false", same, func(s server) string {
		_, _, event := s.statement("AdverseEvent")
		return fmt.Sprint(has(event["searchParam"], "name", "_tag"), " ", has(event["searchParam"], "name", "identifier"))
	}},
	{"metadata: claims to take ids of the client", "true", otherwise("<nil>", "the real server takes them and does not say so"), func(s server) string {
		_, _, patient := s.statement("Patient")
		return fmt.Sprint(patient["updateCreate"])
	}},
	{"metadata: claims conditional updates", "false", otherwise("true", notOffered).played("racy"), func(s server) string {
		_, _, patient := s.statement("Patient")
		return fmt.Sprint(patient["conditionalUpdate"])
	}},
	{"Prefer: nothing, minimal, representation, OperationOutcome", "Patient false false, <nil> false false, Patient true false, OperationOutcome false false",
		otherwise("Patient false true, <nil> false true, Patient true true, OperationOutcome false true", "the real server adds an outcome to every entry"), func(s server) string {
			return s.prefers("") + ", " + s.prefers("return=minimal") + ", " + s.prefers("return=representation") + ", " + s.prefers("return=OperationOutcome")
		}},
	{"Prefer minimal on a create, where it matches, on an update", "0 0 0", same, func(s server) string {
		v := s.v("pm")
		_, created := s.post("/Patient", s.patient(v), "Prefer", "return=minimal", "If-None-Exist", by(v))
		_, matched := s.post("/Patient", s.patient(v), "Prefer", "return=minimal", "If-None-Exist", by(v))
		_, updated := s.call(http.MethodPut, "/Patient/"+s.v("pu"), fhirJSON, withID(s.v("pu"), s.patient(v)), "Prefer", "return=minimal")
		return fmt.Sprint(len(created), " ", len(matched), " ", len(updated))
	}},
	{"types like a Procedure, each created twice under its identifier", strings.TrimSuffix(strings.Repeat("201 200, ", 12), ", "), same, func(s server) string {
		return s.twice(map[string]string{
			"Procedure":         `"status":"completed","subject":{"display":"HTEST"},"code":{"text":"x"}`,
			"DiagnosticReport":  `"status":"final","code":{"text":"x"}`,
			"Specimen":          `"type":{"text":"x"}`,
			"Condition":         `"subject":{"display":"HTEST"},"code":{"text":"x"}`,
			"ServiceRequest":    `"status":"active","intent":"order","subject":{"display":"HTEST"}`,
			"Device":            `"type":{"text":"x"}`,
			"DocumentReference": `"status":"current","content":[{"attachment":{"contentType":"text/plain"}}]`,
			"Encounter":         `"status":"finished","class":{"system":"http://terminology.hl7.org/CodeSystem/v3-ActCode","code":"AMB"}`,
			"CarePlan":          `"status":"active","intent":"plan","subject":{"display":"HTEST"}`,
			"Media":             `"status":"completed","content":{"contentType":"image/png"}`,
			"BodyStructure":     `"patient":{"display":"HTEST"}`,
			"Organization":      `"name":"HTEST"`,
		})
	}},
	{"types that no report becomes", "404 404, 404 404", stricter("201 200, 201 200", "the receiver knows the types of a record only"), func(s server) string {
		return s.twice(map[string]string{
			"RiskAssessment": `"status":"final","subject":{"display":"HTEST"}`,
			"Goal":           `"lifecycleStatus":"active","description":{"text":"x"},"subject":{"display":"HTEST"}`,
		})
	}},
	{"Provenance by identifier", "400", same, func(s server) string {
		return s.posted("Provenance", `{"resourceType":"Provenance","target":[{"display":"HTEST"}],"recorded":"2026-01-01T00:00:00Z","agent":[{"who":{"display":"HTEST"}}]}`,
			"If-None-Exist", by(s.v("pi")))
	}},
	{"a body in gzip, one that says so and is none, an unknown coding", "201, 400, 415", stricter("201, 400, 201", "the real server does not look at what it does not know"), func(s server) string {
		var packed bytes.Buffer
		w := gzip.NewWriter(&packed)
		_, _ = w.Write([]byte(s.patient(s.v("gz")))) // into memory
		_ = w.Close()
		return s.posted("Patient", packed.String(), "Content-Encoding", "gzip") + ", " + s.posted("Patient", s.patient(s.v("gz")), "Content-Encoding", "gzip") + ", " +
			s.posted("Patient", s.patient(s.v("gz")), "Content-Encoding", "zip")
	}},
	{"application/json, a fhirVersion parameter, a charset", "201, 201, 201", same, func(s server) string {
		as := func(media string) string {
			status, _ := s.call(http.MethodPost, "/Patient", media, s.patient(s.v("me")))
			return fmt.Sprint(status)
		}
		return as("application/json") + ", " + as("application/fhir+json; fhirVersion=4.0") + ", " + as("application/fhir+json; charset=utf-8")
	}},
	{"a body of 6 MiB", "201", same, func(s server) string {
		div := `<div xmlns=\"http://www.w3.org/1999/xhtml\">` + strings.Repeat("x", 6<<20) + `</div>`
		return s.posted("Patient", strings.Replace(s.patient(s.v("mb")), `"identifier"`, `"text":{"status":"generated","div":"`+div+`"},"identifier"`, 1))
	}},
	{"$validate, of something good and of something bad", "405, 405", stricter("200, 200", "operations are not offered"), func(s server) string {
		return s.posted("Patient/$validate", s.patient(s.v("va"))) + ", " + s.posted("Observation/$validate", `{"resourceType":"Observation","code":{"text":"x"}}`)
	}},
	{"a batch of two reads", "400", stricter("200 200 404", "a batch is not offered"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("ba")))
		return short(s.post("", `{"resourceType":"Bundle","type":"batch","entry":[{"request":{"method":"GET","url":"Patient/`+id+`"}},{"request":{"method":"GET","url":"Patient/never-`+s.run+`"}}]}`))
	}},
	{"the history of a type", "404", stricter("200", "only the history of one resource is offered"), func(s server) string {
		s.made("Patient", s.patient(s.v("ht")))
		return s.get("/Patient/_history?_count=1")
	}},
	{"a search for the number only", "400", stricter("200", "the parameter is not offered"), func(s server) string {
		return s.get("/Patient?" + by(s.v("no")) + "&_summary=count")
	}},
	{"a search repeated after a write: as it is, with no-cache", "0 there, 1 there, 1 there", kinder("0 there, 0 there, 1 there", "the real server answers from memory for a minute", "late-search"), func(s server) string {
		v := s.v("ls")
		asked := func(header ...string) int {
			_, tree := s.call(http.MethodGet, "/Patient?"+by(v), "", "", header...)
			list, _ := tree["entry"].([]any)
			return len(list)
		}
		first := asked()
		s.made("Patient", s.patient(v))
		return fmt.Sprintf("%d there", first) + there(asked()) + there(asked("Cache-Control", "no-cache"))
	}},
}

// twice creates one of each type two times; equal answers are said once.
func (s server) twice(types map[string]string) string {
	var all []string
	for kind, elements := range types {
		v := s.v("ty")
		body := `{"resourceType":"` + kind + `","identifier":[{"system":"` + system + `","value":"` + v + `"}],` + elements + `}`
		again := func() string { return s.posted(kind, body, "If-None-Exist", by(v)) }
		all = append(all, again()+" "+again())
	}
	return strings.Join(all, ", ")
}

// atOnce asks 16 times at once and returns how often each was answered.
func atOnce(ask func(n int) string) map[string]int {
	said, mu, wait, start := map[string]int{}, sync.Mutex{}, sync.WaitGroup{}, make(chan struct{})
	for n := range 16 {
		wait.Go(func() {
			<-start
			answer := ask(n)
			mu.Lock()
			defer mu.Unlock()
			said[answer]++
		})
	}
	close(start)
	wait.Wait()
	return said
}

// mostRounds bounds how long a race is run that has not shown itself yet: the real
// server showed each in one round of four at least.
const mostRounds = 60

// races run until they have shown what they can show.
var races = []question{
	{"parallel creates under one condition", "1 there, nobody loses", kinder("1 there, 409 for some", "the real server lets some lose", "racy"), func(s server) string {
		return s.race("409", func(v string) (map[string]int, int) {
			said := atOnce(func(int) string { return s.tx(entry("Patient", s.patient(v), by(v))) })
			return said, s.count("Patient", by(v))
		})
	}},
	{"parallel creates under one condition in a header", "1 there, nobody loses", kinder("1 there, 409 for some", "as above", "racy"), func(s server) string {
		return s.race("409", func(v string) (map[string]int, int) {
			said := atOnce(func(int) string { return s.posted("Patient", s.patient(v), "If-None-Exist", by(v)) })
			return said, s.count("Patient", by(v))
		})
	}},
	{"parallel updates of one id", "1 there, nobody loses", kinder("1 there, 409 for some", "as above", "racy"), func(s server) string {
		return s.race("409", func(v string) (map[string]int, int) {
			said := atOnce(func(n int) string {
				return s.put("/Patient/"+v, withID(v, strings.Replace(s.patient(v), `"identifier"`, fmt.Sprintf(`"multipleBirthInteger":%d,"identifier"`, n), 1)))
			})
			return said, s.count("Patient", "_id="+v)
		})
	}},
	{"parallel conditional updates", "405", stricter("2 there", notOffered+"; the real server leaves doubles").played("racy"), func(s server) string {
		for range mostRounds {
			v := s.v(uuid.NewString()[:8])
			said := atOnce(func(int) string { return s.tx(put("Patient?"+by(v), s.patient(v), "")) })
			if said["405"] == 16 {
				return "405"
			}
			if n := s.count("Patient", by(v)); n > 1 {
				return "2 there"
			}
		}
		return "1 there"
	}},
}

// race runs rounds until an answer was seen, and fails a round that leaves more or
// less than one resource.
func (s server) race(until string, round func(v string) (map[string]int, int)) string {
	for range mostRounds {
		said, n := round(s.v(uuid.NewString()[:8]))
		if n != 1 {
			return fmt.Sprintf("%d there, %v", n, said)
		}
		if said[until] > 0 {
			return "1 there, " + until + " for some"
		}
	}
	return "1 there, nobody loses"
}
