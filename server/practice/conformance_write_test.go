package practice_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"
)

// get reads something; the answer is the status.
func (s server) get(path string) string {
	status, _ := s.call(http.MethodGet, path, "", "")
	return fmt.Sprint(status)
}

// put updates one resource.
func (s server) put(path, body string, header ...string) string {
	status, _ := s.call(http.MethodPut, path, fhirJSON, body, header...)
	return fmt.Sprint(status)
}

func (s server) delete(path string) string {
	status, _ := s.call(http.MethodDelete, path, "", "")
	return fmt.Sprint(status)
}

// posted posts a resource; the answer is the status.
func (s server) posted(kind, body string, header ...string) string {
	status, _ := s.post("/"+kind, body, header...)
	return fmt.Sprint(status)
}

// version is the version that stands.
func (s server) version(path string) string {
	_, tree := s.call(http.MethodGet, path, "", "")
	meta, _ := tree["meta"].(map[string]any)
	return fmt.Sprint(meta["versionId"])
}

func there(n int) string { return fmt.Sprintf(", %d there", n) }

// sex puts a gender into a patient, so that an update changes something.
func sex(gender, body string) string {
	return strings.Replace(body, `"identifier"`, `"gender":"`+gender+`","identifier"`, 1)
}

const notOffered = "conditional updates double under races, so only some behaviours offer them"

// conditions are what stands between a sender and doubles.
var conditions = []question{
	{"header If-None-Exist: 0, 1, 2 matches", "201, 200 the same, 412, 2 there", same, func(s server) string {
		v := s.v("hd")
		first, one := s.post("/Patient", s.patient(v), "If-None-Exist", by(v))
		second, two := s.post("/Patient", s.patient(v), "If-None-Exist", by(v))
		which := " another"
		if one["id"] == two["id"] {
			which = " the same"
		}
		s.made("Patient", s.patient(v))
		return fmt.Sprint(first, ", ", second, which, ", ", s.posted("Patient", s.patient(v), "If-None-Exist", by(v))) + there(s.count("Patient", by(v)))
	}},
	{"header If-None-Exist: a match says where it is", "true", same, func(s server) string {
		v := s.v("hl")
		id := s.made("Patient", s.patient(v))
		res, _ := s.do(http.MethodPost, "/Patient", fhirJSON, s.patient(v), "If-None-Exist", by(v))
		return fmt.Sprint(strings.Contains(res.Header.Get("Location"), "/Patient/"+id))
	}},
	{"header If-None-Exist: condition does not match the body", "400, 0 there", same, func(s server) string {
		return s.posted("Patient", s.patient(s.v("hn")), "If-None-Exist", by(s.v("other"))) + there(s.count("Patient", by(s.v("hn"))))
	}},
	{"header If-None-Exist: a parameter that the type does not have", "400", same, func(s server) string {
		return s.posted("Patient", s.patient(s.v("hp")), "If-None-Exist", "nosuch="+s.v("hp"))
	}},
	{"ifNoneExist with the type before it", "400, 1 there", stricter("200 200, 1 there", "two other kinds of server create a double from it"), func(s server) string {
		s.made("Patient", s.patient(s.v("ty")))
		return s.tx(entry("Patient", s.patient(s.v("ty")), "Patient?"+by(s.v("ty")))) + there(s.count("Patient", by(s.v("ty"))))
	}},
	{"ifNoneExist without a value, and with the system only", "400, 200 200", same, func(s server) string {
		own := "https://enbloc.example/fhir/sid/" + s.v("sy")
		body := `{"resourceType":"Patient","identifier":[{"system":"` + own + `","value":"1"}]}`
		s.made("Patient", body)
		return s.tx(entry("Patient", body, "identifier=")) + ", " + s.tx(entry("Patient", body, "identifier="+own+"|"))
	}},
	{"ifNoneExist in other letters than the body", "412", same, func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("lc")), by(strings.ToUpper(s.v("lc")))))
	}},
	{"ifNoneExist after a delete", "201 another", same, func(s server) string {
		v := s.v("ad")
		id := s.made("Patient", s.patient(v))
		s.delete("/Patient/" + id)
		status, tree := s.post("/Patient", s.patient(v), "If-None-Exist", by(v))
		if tree["id"] == id {
			return fmt.Sprint(status)
		}
		return fmt.Sprint(status, " another")
	}},
	{"AdverseEvent: header by identifier, conditional update by identifier", "400, 405",
		otherwise("400, 400", notOffered).played("racy"), func(s server) string {
			v := s.v("ah")
			body := `{"resourceType":"AdverseEvent","actuality":"actual","subject":{"display":"HTEST"},"identifier":{"system":"` + system + `","value":"` + v + `"}}`
			return s.posted("AdverseEvent", body, "If-None-Exist", by(v)) + ", " + s.put("/AdverseEvent?"+by(v), body)
		}},
	{"AdverseEvent: header by tag, twice", "201, 200", same, func(s server) string {
		v := s.v("at")
		body := `{"resourceType":"AdverseEvent","actuality":"actual","subject":{"display":"HTEST"},"meta":{"tag":[{"system":"` + system + `","code":"` + v + `"}]}}`
		again := func() string { return s.posted("AdverseEvent", body, "If-None-Exist", "_tag="+system+"|"+v) }
		return again() + ", " + again()
	}},
	{"conditional update: 0, 1, 2 matches", "405, 405, 405", stricter("201, 200, 412", notOffered).played("racy"), func(s server) string {
		v := s.v("cu")
		to := "/Patient?identifier=" + url.QueryEscape(system+"|"+v)
		none, one := s.put(to, s.patient(v)), s.put(to, sex("female", s.patient(v)))
		s.made("Patient", s.patient(v))
		return none + ", " + one + ", " + s.put(to, sex("male", s.patient(v)))
	}},
	{"conditional update in a transaction: 0, 1, 2 matches", "405, 405, 405", stricter("200 201, 200 200, 412", notOffered).played("racy"), func(s server) string {
		v := s.v("ct")
		to := "Patient?" + by(v)
		none, one := s.tx(put(to, s.patient(v), "")), s.tx(put(to, sex("female", s.patient(v)), ""))
		s.made("Patient", s.patient(v))
		return none + ", " + one + ", " + s.tx(put(to, sex("male", s.patient(v)), ""))
	}},
	{"conditional update with a stale If-Match", "405", stricter("200", "the real server does not look at it; conditional updates are not offered").played("racy"), func(s server) string {
		v := s.v("cs")
		id := s.made("Patient", s.patient(v))
		s.put("/Patient/"+id, withID(id, sex("female", s.patient(v))))
		return s.put("/Patient?"+by(v), sex("male", s.patient(v)), "If-Match", `W/"1"`)
	}},
	{"conditional update whose body does not meet the condition", "405, 405", otherwise("400, 412", notOffered).played("racy"), func(s server) string {
		return s.put("/Patient?"+by(s.v("cb")), s.patient(s.v("another"))) + ", " + s.tx(put("Patient?"+by(s.v("cb")), s.patient(s.v("another")), ""))
	}},
	{"conditional reference to something in the same bundle", "404, 404, 0 there", same, func(s server) string {
		v := s.v("sb")
		patient, observation := entry("Patient", s.patient(v), ""), entry("Observation", s.observation(v, `,"subject":{"reference":"Patient?`+by(v)+`"}`), "")
		return s.tx(patient, observation) + ", " + s.tx(observation, patient) + there(s.count("Patient", by(v)))
	}},
	{"conditional reference to something created under the same condition", "200 201 201", same, func(s server) string {
		v := s.v("sc")
		return s.tx(entry("Patient", s.patient(v), by(v)), entry("Observation", s.observation(v, `,"subject":{"reference":"Patient?`+by(v)+`"}`), by(v)))
	}},
	{"conditional reference outside a transaction: 0, 1 matches", "404, 201", same, func(s server) string {
		v := s.v("so")
		o := func() string {
			return s.posted("Observation", s.observation(uuid.NewString(), `,"subject":{"reference":"Patient?`+by(v)+`"}`))
		}
		none := o()
		s.made("Patient", s.patient(v))
		return none + ", " + o()
	}},
}

// versions are what stands between a sender and lost updates.
var versions = []question{
	{"single update with If-Match: fresh, stale, none given", "200, 412, 200", otherwise("200, 409, 200", "both are a lost race; the receiver says it as the standard does").played("strict-409"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("sm")))
		fresh := s.put("/Patient/"+id, withID(id, sex("female", s.patient(s.v("sm")))), "If-Match", `W/"1"`)
		stale := s.put("/Patient/"+id, withID(id, sex("male", s.patient(s.v("sm")))), "If-Match", `W/"1"`)
		return fresh + ", " + stale + ", " + s.put("/Patient/"+id, withID(id, sex("other", s.patient(s.v("sm")))))
	}},
	{"single update with If-Match of what does not exist", "412", stricter("201", "the real server creates it"), func(s server) string {
		return s.put("/Patient/"+s.v("nx"), withID(s.v("nx"), s.patient(s.v("nx"))), "If-Match", `W/"1"`)
	}},
	{"single update by an id of the client, twice, and by a UUID", "201, 200, 201", same, func(s server) string {
		id, other := s.v("ci"), uuid.NewString()
		return s.put("/Patient/"+id, withID(id, s.patient(id))) + ", " + s.put("/Patient/"+id, withID(id, s.patient(id))) + ", " + s.put("/Patient/"+other, withID(other, s.patient(other)))
	}},
	{"transaction by a UUID of the client", "200 201", same, func(s server) string {
		id := uuid.NewString()
		return s.tx(put("Patient/"+id, withID(id, s.patient(id)), ""))
	}},
	{"single update: id missing in the body, another, all digits", "400, 400, 400", same, func(s server) string {
		id := s.v("ib")
		return s.put("/Patient/"+id, s.patient(id)) + ", " + s.put("/Patient/"+id, withID("another", s.patient(id))) + ", " + s.put("/Patient/80000001", withID("80000001", s.patient(id)))
	}},
	{"an id with an underscore, of 65 letters", "400, 400", same, func(s server) string {
		long := strings.Repeat("a", 65)
		return s.put("/Patient/a_b", withID("a_b", s.patient(s.v("us")))) + ", " + s.put("/Patient/"+long, withID(long, s.patient(s.v("us"))))
	}},
	{"id and version in the body of a create are not taken over", "false 1", same, func(s server) string {
		body := withID("of-the-client", strings.Replace(s.patient(s.v("iv")), `"identifier"`, `"meta":{"versionId":"77","lastUpdated":"2001-01-01T00:00:00Z"},"identifier"`, 1))
		id := s.made("Patient", body)
		return fmt.Sprint(id == "of-the-client", " ", s.version("/Patient/"+id))
	}},
	{"an unknown type in a transaction takes the good entry with it", "404, 0 there", otherwise("400, 0 there", "the same refusal under another status"), func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("ut")), ""), entry("Nonsense", `{"resourceType":"Nonsense"}`, "")) + there(s.count("Patient", by(s.v("ut"))))
	}},
	{"a transaction of 40 entries, twice", "200 40 x 201, 200 40 x 200", same, func(s server) string {
		var all []string
		for n := range 40 {
			v := s.v(fmt.Sprint("f", n))
			all = append(all, entry("Observation", s.observation(v, ""), by(v)))
		}
		counted := func(answer string) string {
			parts := strings.Fields(answer)
			return fmt.Sprint(parts[0], " ", strings.Count(answer, parts[1])-strings.Count(parts[0], parts[1]), " x ", parts[1])
		}
		return counted(s.tx(all...)) + ", " + counted(s.tx(all...))
	}},
	{"a search finds what was just written, and what was just changed", "1 there, 0 there, 1 there", same, func(s server) string {
		s.tx(entry("Patient", s.patient(s.v("rw")), ""))
		first := s.count("Patient", by(s.v("rw")))
		id := s.made("Patient", s.patient(s.v("rx")))
		s.put("/Patient/"+id, withID(id, s.patient(s.v("ry"))))
		return fmt.Sprintf("%d there", first) + there(s.count("Patient", by(s.v("rx")))) + there(s.count("Patient", by(s.v("ry"))))
	}},
	{"by value only, by another system, by a list", "1 there, 0 there, 1 there", same, func(s server) string {
		v := s.v("bv")
		s.made("Patient", s.patient(v))
		return fmt.Sprintf("%d there", s.count("Patient", "identifier="+v)) + there(s.count("Patient", "identifier=other|"+v)) +
			there(s.count("Patient", by(v)+","+system+"|none"))
	}},
}

// deletions are what a withdrawal relies on.
var deletions = []question{
	{"delete, read, read the version before it", "204, 410, 200", otherwise("200, 410, 200", "the real server says something about the deletion"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("de")))
		return s.delete("/Patient/"+id) + ", " + s.get("/Patient/"+id) + ", " + s.get("/Patient/"+id+"/_history/1")
	}},
	{"delete again, delete what never was", "410, 404", stricter("200, 200", "who deletes what is not there shall notice"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("da")))
		s.delete("/Patient/" + id)
		return s.delete("/Patient/"+id) + ", " + s.delete("/Patient/never-"+s.run)
	}},
	{"delete of something referenced, then of what refers to it, then again", "409, 204, 204", otherwise("409, 200, 200", "as above"), func(s server) string {
		p := s.made("Patient", s.patient(s.v("dr")))
		o := s.made("Observation", s.observation(s.v("dr"), `,"subject":{"reference":"Patient/`+p+`"}`))
		return s.delete("/Patient/"+p) + ", " + s.delete("/Observation/"+o) + ", " + s.delete("/Patient/"+p)
	}},
	{"delete of what was referenced until an update", "204", otherwise("200", "as above"), func(s server) string {
		p := s.made("Patient", s.patient(s.v("du")))
		o := s.made("Observation", s.observation(s.v("du"), `,"subject":{"reference":"Patient/`+p+`"}`))
		s.put("/Observation/"+o, withID(o, s.observation(s.v("du"), "")))
		return s.delete("/Patient/" + p)
	}},
	{"delete of what refers to itself", "204", otherwise("200", "as above"), func(s server) string {
		id := s.v("se")
		s.put("/Observation/"+id, withID(id, s.observation(id, "")))
		s.put("/Observation/"+id, withID(id, s.observation(id, `,"hasMember":[{"reference":"Observation/`+id+`"}]`)))
		return s.delete("/Observation/" + id)
	}},
	{"delete of a circle: one by one, in one transaction", "409, 409, 200 204 204", same, func(s server) string {
		first := s.made("Observation", s.observation(s.v("c1"), ""))
		second := s.made("Observation", s.observation(s.v("c2"), `,"hasMember":[{"reference":"Observation/`+first+`"}]`))
		s.put("/Observation/"+first, withID(first, s.observation(s.v("c1"), `,"hasMember":[{"reference":"Observation/`+second+`"}]`)))
		gone := func(id string) string { return `{"request":{"method":"DELETE","url":"Observation/` + id + `"}}` }
		return s.delete("/Observation/"+first) + ", " + s.delete("/Observation/"+second) + ", " + s.tx(gone(first), gone(second))
	}},
	{"delete of what a Procedure names as its report", "409", stricter("200", "the real server looks at references that can be searched by only"), func(s server) string {
		report := s.made("DiagnosticReport", `{"resourceType":"DiagnosticReport","status":"final","code":{"text":"HTEST"}}`)
		s.made("Procedure", `{"resourceType":"Procedure","status":"completed","subject":{"display":"HTEST"},"report":[{"reference":"DiagnosticReport/`+report+`"}]}`)
		return s.delete("/DiagnosticReport/" + report)
	}},
	{"delete in a transaction: with what refers to it, without", "200 204 204, 409, 1 there", same, func(s server) string {
		pair := func(v string) (string, string) {
			p := s.made("Patient", s.patient(v))
			return p, s.made("Observation", s.observation(v, `,"subject":{"reference":"Patient/`+p+`"}`))
		}
		gone := func(what string) string { return `{"request":{"method":"DELETE","url":"` + what + `"}}` }
		p, o := pair(s.v("t1"))
		both := s.tx(gone("Patient/"+p), gone("Observation/"+o))
		p, _ = pair(s.v("t2"))
		return both + ", " + s.tx(gone("Patient/"+p)) + there(s.count("Patient", by(s.v("t2"))))
	}},
	{"delete in a transaction that writes a reference to it", "409, 1 there", stricter("200 204 201, 0 there", "the real server leaves a reference to nothing"), func(s server) string {
		p := s.made("Patient", s.patient(s.v("dw")))
		return s.tx(`{"request":{"method":"DELETE","url":"Patient/`+p+`"}}`, entry("Observation", s.observation(s.v("dw"), `,"subject":{"reference":"Patient/`+p+`"}`), "")) +
			there(s.count("Patient", by(s.v("dw"))))
	}},
	{"a reference to something deleted", "400, 400", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("rd")))
		s.delete("/Patient/" + id)
		body := s.observation(s.v("rd"), `,"subject":{"reference":"Patient/`+id+`"}`)
		return s.posted("Observation", body) + ", " + s.tx(entry("Observation", body, ""))
	}},
	{"an update brings back what was deleted, and its versions go on", "201, 3", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("bk")))
		s.delete("/Patient/" + id)
		return s.put("/Patient/"+id, withID(id, s.patient(s.v("bk")))) + ", " + s.version("/Patient/"+id)
	}},
	{"an update of what was deleted, with If-Match of the version before", "412", otherwise("409", "both are a lost race"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("bm")))
		s.delete("/Patient/" + id)
		return s.put("/Patient/"+id, withID(id, s.patient(s.v("bm"))), "If-Match", `W/"1"`)
	}},
	{"the history of what was deleted", "DELETE,POST", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("hi")))
		s.delete("/Patient/" + id)
		_, tree := s.call(http.MethodGet, "/Patient/"+id+"/_history", "", "")
		var methods []string
		list, _ := tree["entry"].([]any)
		for _, e := range list {
			methods = append(methods, e.(map[string]any)["request"].(map[string]any)["method"].(string))
		}
		return strings.Join(methods, ",")
	}},
	{"what was deleted is found no more", "0 there, 0 there", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("fm")))
		s.delete("/Patient/" + id)
		return fmt.Sprintf("%d there", s.count("Patient", by(s.v("fm")))) + there(s.count("Patient", "_id="+id))
	}},
}
