package practice_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
)

// kept posts an Observation with more in it and returns the element as it stands.
func (s server) kept(v, more, element string) string {
	status, tree := s.post("/Observation", s.observation(v, more))
	if status != http.StatusCreated {
		return fmt.Sprint(status)
	}
	_, tree = s.call(http.MethodGet, "/Observation/"+tree["id"].(string), "", "")
	out, err := json.Marshal(tree[element])
	if err != nil {
		return err.Error()
	}
	return string(out)
}

// each posts an Observation with each of the additions; the answer is the statuses.
func (s server) each(additions ...string) string {
	var all []string
	for i, more := range additions {
		all = append(all, s.posted("Observation", s.observation(s.v(fmt.Sprint("ea", i)), more)))
	}
	return strings.Join(all, ", ")
}

// contents are what has to come back as it was sent.
var contents = []question{
	{"decimals: an exponent, 18 digits behind the point, zeros", "0.001 100 100.000000000000000001 12.0 0.10", same, func(s server) string {
		var got []string
		for _, digits := range []string{"1e-3", "1.0e2", "100.000000000000000001", "12.0", "0.10"} {
			q := s.kept(s.v("de"+digits), `,"valueQuantity":{"value":`+digits+`}`, "valueQuantity")
			got = append(got, strings.TrimSuffix(strings.TrimPrefix(q, `{"value":`), "}"))
		}
		return strings.Join(got, " ")
	}},
	{"partial dates, and times as they were written", `"2026" "2026-02" "2026-02-03" "2026-02-03T04:05:06.789+09:00" "2026-02-03T04:05:06Z"`, same, func(s server) string {
		var got []string
		for _, d := range []string{"2026", "2026-02", "2026-02-03", "2026-02-03T04:05:06.789+09:00", "2026-02-03T04:05:06Z"} {
			got = append(got, s.kept(s.v("pd"+d), `,"effectiveDateTime":"`+d+`"`, "effectiveDateTime"))
		}
		return strings.Join(got, " ")
	}},
	{"an extension, also a nested one", `[{"extension":[{"url":"a","valueDecimal":2.50}],"url":"https://enbloc.example/x"}]`, same, func(s server) string {
		return s.kept(s.v("ex"), `,"extension":[{"url":"https://enbloc.example/x","extension":[{"url":"a","valueDecimal":2.50}]}]`, "extension")
	}},
	{"an extension of a primitive without a value", `{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"unknown"}]}`, same, func(s server) string {
		return s.kept(s.v("ep"), `,"_effectiveDateTime":{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"unknown"}]}`, "_effectiveDateTime")
	}},
	{"a narrative", "true", same, func(s server) string {
		got := s.kept(s.v("na"), `,"text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>HTEST &lt; 5 mm, \u2265 2</p></div>"}`, "text")
		return fmt.Sprint(strings.Contains(got, `HTEST`) && strings.Contains(got, "≥ 2"))
	}},
	{"text beyond ASCII, blanks inside", `[{"text":"Größe ≥ 20 mm — 切除  two"}]`, same, func(s server) string {
		return s.kept(s.v("tx"), `,"note":[{"text":"Größe ≥ 20 mm — 切除  two"}]`, "note")
	}},
	{"language, tags and the source", `"de" true true`, same, func(s server) string {
		id := s.made("Observation", s.observation(s.v("la"), `,"language":"de","meta":{"source":"urn:enbloc:test","tag":[{"system":"`+system+`","code":"t"}]}`))
		_, tree := s.call(http.MethodGet, "/Observation/"+id, "", "")
		meta, _ := tree["meta"].(map[string]any)
		source, _ := meta["source"].(string)
		tags, _ := meta["tag"].([]any)
		return fmt.Sprintf("%q %v %v", tree["language"], strings.HasPrefix(source, "urn:enbloc:test"), len(tags) == 1)
	}},
}

const noValidator = "the real server takes it and drops or twists it; the standard does not allow it"

// shapes are resources that are none.
var shapes = []question{
	{"dates that are none", "400, 400, 400, 400, 400, 400", same, func(s server) string {
		var all []string
		for _, d := range []string{"2026-13-45", "2026-02-30", "26-02-03", "03.02.2026", "2026-2-3", "yesterday"} {
			all = append(all, `,"effectiveDateTime":"`+d+`"`)
		}
		return s.each(all...)
	}},
	{"times that are none", "400, 400", same, func(s server) string {
		return s.each(`,"effectiveDateTime":"2026-02-03T25:00:00Z"`, `,"effectiveDateTime":"2026-02-03T04:61:06Z"`)
	}},
	{"times without seconds, without a zone, without both", "400, 400, 400", stricter("201, 201, 400", "the standard asks for both"), func(s server) string {
		return s.each(`,"effectiveDateTime":"2026-02-03T04:05Z"`, `,"effectiveDateTime":"2026-02-03T04:05:06"`, `,"effectiveDateTime":"2026-02-03T04:05"`)
	}},
	{"an instant that is a date, and one without a zone", "400, 400", stricter("201, 201", "the standard asks for seconds and a zone"), func(s server) string {
		return s.each(`,"issued":"2026-02-03"`, `,"issued":"2026-02-03T04:05:06"`)
	}},
	{"a date that is a time", "400", stricter("201", "the standard allows a day at most"), func(s server) string {
		return s.posted("Patient", strings.Replace(s.patient(s.v("dt")), `"identifier"`, `"birthDate":"1970-01-01T00:00:00Z","identifier"`, 1))
	}},
	{"bad dates deep inside: a period, an extension, a tag", "400, 400, 400", same, func(s server) string {
		return s.each(`,"effectivePeriod":{"start":"2026-13-45"}`, `,"extension":[{"url":"https://enbloc.example/x","valueDate":"2026-02-30"}]`,
			`,"note":[{"time":"2026-02-30","text":"HTEST"}]`)
	}},
	{"a bad date takes the transaction with it", "400, 0 there", same, func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("bd")), ""), entry("Observation", s.observation(s.v("bd"), `,"effectiveDateTime":"2026-13-45"`), "")) + there(s.count("Patient", by(s.v("bd"))))
	}},
	{"codes outside a required binding, beside the status", "400, 400, 400, 400", same, func(s server) string {
		patient := func(more string) string {
			return s.posted("Patient", strings.Replace(s.patient(s.v("co")), `"identifier"`, more+`,"identifier"`, 1))
		}
		return patient(`"gender":"x"`) + ", " + patient(`"name":[{"use":"x","text":"HTEST"}]`) + ", " + patient(`"text":{"status":"x","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div>"}`) + ", " +
			s.posted("AdverseEvent", `{"resourceType":"AdverseEvent","actuality":"x","subject":{"display":"HTEST"}}`)
	}},
	{"a yes that is a word, a number that is a word", "400, 400", same, func(s server) string {
		return s.posted("Patient", strings.Replace(s.patient(s.v("bo")), `"identifier"`, `"active":"yes","identifier"`, 1)) + ", " +
			s.each(`,"valueInteger":"x"`)
	}},
	{"a decimal that is a word, an integer with a fraction", "400, 400", same, func(s server) string {
		return s.each(`,"valueQuantity":{"value":"x"}`, `,"valueInteger":1.5`)
	}},
	{"an unknown element, at the top and inside", "400, 400", stricter("201, 201", noValidator), func(s server) string {
		return s.each(`,"colour":"red"`, `,"valueQuantity":{"value":1,"colour":"red"}`)
	}},
	{"a text where an object belongs, an object where a list belongs, a list where an object belongs", "400, 400, 400",
		stricter("201, 201, 201", noValidator), func(s server) string {
			wrong := strings.Replace(s.observation(s.v("ob"), ""), `"code":{"text":"HTEST"}`, `"code":"x"`, 1)
			return s.posted("Observation", wrong) + ", " + s.each(`,"category":{"text":"x"}`, `,"method":[{"text":"x"}]`)
		}},
	{"two values", "400", stricter("201", noValidator), func(s server) string { return s.each(`,"valueString":"x","valueBoolean":true`) }},
	{"an empty list, an empty text, an empty object, a null", "400, 400, 400, 400", stricter("201, 201, 201, 201", noValidator), func(s server) string {
		return s.each(`,"category":[]`, `,"note":[{"text":""}]`, `,"method":{}`, `,"method":null`)
	}},
	{"a broken invariant (value and dataAbsentReason), an unknown profile, a script in the narrative", "201, 201, 201", same, func(s server) string {
		return s.each(`,"valueString":"x","dataAbsentReason":{"text":"x"}`, `,"meta":{"profile":["https://enbloc.example/none"]}`,
			`,"text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><script>1</script></div>"}`)
	}},
	{"a narrative that is no XHTML, a contained resource of no type, a reference to a word", "400, 400, 400", same, func(s server) string {
		return s.each(`,"text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>x</div>"}`, `,"contained":[{"resourceType":"Nonsense"}]`,
			`,"subject":{"reference":"nonsense"}`)
	}},
	{"numbers and truth as words", "400, 400, 400", stricter("201, 201, 201", noValidator), func(s server) string {
		return s.each(`,"valueBoolean":"true"`, `,"valueInteger":"5"`, `,"valueQuantity":{"value":"1.0"}`)
	}},
	{"another type than the url", "400", same, func(s server) string { return s.posted("Observation", s.patient(s.v("ot"))) }},
	{"a key twice", "201", same, func(s server) string {
		return s.posted("Observation", strings.Replace(s.observation(s.v("kt"), ""), `"status":"final"`, `"status":"final","status":"amended"`, 1))
	}},
	{"a single create with a reference to nothing, to an unknown type", "400, 422", same, func(s server) string {
		return s.each(`,"subject":{"reference":"Patient/nobody-`+s.run+`"}`, `,"subject":{"reference":"Nonsense/1"}`)
	}},
	{"a reference to nothing in an extension", "400", stricter("201", "the real server looks at references that can be searched by only"), func(s server) string {
		return s.each(`,"extension":[{"url":"https://enbloc.example/x","valueReference":{"reference":"Patient/nobody-` + s.run + `"}}]`)
	}},
	{"a single create with a reference to a wrong type", "422", same, func(s server) string {
		id := s.made("Device", `{"resourceType":"Device","identifier":[{"system":"`+system+`","value":"`+s.v("wd")+`"}]}`)
		return s.each(`,"encounter":{"reference":"Device/` + id + `"}`)
	}},
	{"a reference to another server, to itself by its whole address", "400, 400", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("as")))
		return s.each(`,"subject":{"reference":"https://other.example/fhir/Patient/1"}`, `,"subject":{"reference":"`+s.base+`/Patient/`+id+`"}`)
	}},
	{"a reference to something contained, to nothing contained", "201, 201", same, func(s server) string {
		return s.each(`,"contained":[{"resourceType":"Patient","id":"p"}],"subject":{"reference":"#p"}`, `,"subject":{"reference":"#p"}`)
	}},
	{"a single create with a urn reference", "400", same, func(s server) string {
		return s.each(`,"subject":{"reference":"urn:uuid:00000000-0000-4000-8000-000000000001"}`)
	}},
}
