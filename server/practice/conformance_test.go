package practice_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
)

// system is the identifier system of this test's questions; values are unique.
const system = "https://enbloc.example/fhir/sid/conformance"

// server is any FHIR server that is asked.
type server struct {
	t    testing.TB
	base string
	run  string // makes values unique on a server that lives longer
}

func (s server) call(method, path, contentType, body string, header ...string) (int, map[string]any) {
	s.t.Helper()
	res, tree := s.do(method, path, contentType, body, header...)
	return res.StatusCode, tree
}

// do returns the answer with its headers; its body is in the tree.
func (s server) do(method, path, contentType, body string, header ...string) (*http.Response, map[string]any) {
	s.t.Helper()
	req, err := http.NewRequest(method, s.base+path, strings.NewReader(body))
	require.NoError(s.t, err)
	req.Header.Set("Accept", "application/fhir+json")
	if contentType != "" {
		req.Header.Set("Content-Type", contentType)
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	require.NoError(s.t, err)
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	require.NoError(s.t, err)
	var tree map[string]any
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	_ = d.Decode(&tree) // some answers are empty
	return res, tree
}

const fhirJSON = "application/fhir+json"

func (s server) post(path, body string, header ...string) (int, map[string]any) {
	return s.call(http.MethodPost, path, fhirJSON, body, header...)
}

// tx posts a transaction; the answer is the status, and the entries' when it was
// taken, as in "200 201 200".
func (s server) tx(entries ...string) string {
	status, tree := s.post("", `{"resourceType":"Bundle","type":"transaction","entry":[`+strings.Join(entries, ",")+`]}`)
	return short(status, tree)
}

func short(status int, tree map[string]any) string {
	out := fmt.Sprint(status)
	list, _ := tree["entry"].([]any)
	for _, e := range list {
		if response, ok := e.(map[string]any)["response"].(map[string]any); ok {
			text, _ := response["status"].(string)
			code, _, _ := strings.Cut(text, " ")
			out += " " + code
		}
	}
	return out
}

func (s server) count(kind, query string) int {
	_, tree := s.call(http.MethodGet, "/"+kind+"?"+query, "", "")
	list, _ := tree["entry"].([]any)
	return len(list)
}

func (s server) v(name string) string { return s.run + "-" + name }

func (s server) patient(v string) string {
	return `{"resourceType":"Patient","identifier":[{"system":"` + system + `","value":"` + v + `"}]}`
}

func (s server) observation(v, more string) string {
	return `{"resourceType":"Observation","status":"final","code":{"text":"HTEST"},"identifier":[{"system":"` + system + `","value":"` + v + `"}]` + more + `}`
}

func entry(kind, body, condition string) string {
	if condition != "" {
		condition = `,"ifNoneExist":"` + condition + `"`
	}
	return `{"fullUrl":"urn:uuid:` + uuid.NewString() + `","resource":` + body + `,"request":{"method":"POST","url":"` + kind + `"` + condition + `}}`
}

func put(target, body, match string) string {
	if match != "" {
		match = `,"ifMatch":"` + strings.ReplaceAll(match, `"`, `\"`) + `"`
	}
	return `{"resource":` + body + `,"request":{"method":"PUT","url":"` + target + `"` + match + `}}`
}

func by(v string) string { return "identifier=" + system + "|" + v }

// made posts a resource and returns its id.
func (s server) made(kind, body string) string {
	status, tree := s.post("/"+kind, body)
	require.Equal(s.t, 201, status, tree)
	return tree["id"].(string)
}

// withID puts an id into a resource.
func withID(id, body string) string { return `{"id":"` + id + `",` + body[1:] }

// question is one thing that a sender relies on. want is the answer of the strict
// receiver, and of the real server (HAPI FHIR 8.8.0, JPA, defaults) unless they
// differ.
type question struct {
	name, want string
	differs    difference
	ask        func(s server) string
}

// difference names how the real server answers otherwise.
type difference struct {
	how, hapi, why string
	// like is the behaviour in which the receiver answers as the real server.
	like string
}

var same = difference{}

// stricter: the receiver refuses what the real server takes.
func stricter(hapi, why string) difference {
	return difference{how: "stricter", hapi: hapi, why: why}
}

// otherwise: both refuse, or both take it, and say so in other words.
func otherwise(hapi, why string) difference {
	return difference{how: "otherwise", hapi: hapi, why: why}
}

// played: a behaviour answers as the real server does; the strict receiver need
// not.
func (d difference) played(like string) difference {
	d.like = like
	return d
}

// kinder: the strict receiver takes what the real server refuses, or shows what it
// does not. Only what a behaviour plays may be so.
func kinder(hapi, why, like string) difference {
	return difference{how: "kinder", hapi: hapi, why: why, like: like}
}

// compare says how an answer differs from the real server's: its parts, between
// commas, are held against each other, and a part that begins with a status of
// 400 or more is a refusal.
func compare(ours, theirs string) string {
	a, b := strings.Split(ours, ", "), strings.Split(theirs, ", ")
	if ours == theirs {
		return ""
	}
	if len(a) != len(b) {
		return "not comparable"
	}
	how := "otherwise"
	for i := range a {
		switch {
		case refuses(b[i]) && !refuses(a[i]):
			return "kinder"
		case refuses(a[i]) && !refuses(b[i]):
			how = "stricter"
		}
	}
	return how
}

func refuses(part string) bool {
	first, _, _ := strings.Cut(part, " ")
	status, err := strconv.Atoi(first)
	return err == nil && status >= 400 && status < 600
}

var questions = slices.Concat(basics, conditions, versions, deletions, contents, shapes, exchange, races)

var basics = []question{
	{"conditional create, twice", "200 201, 200 200, 1 there", same, func(s server) string {
		e := entry("Patient", s.patient(s.v("cc")), by(s.v("cc")))
		return s.tx(e) + ", " + s.tx(e) + fmt.Sprintf(", %d there", s.count("Patient", by(s.v("cc"))))
	}},
	{"conditional create, two matches", "412", same, func(s server) string {
		s.made("Patient", s.patient(s.v("2m")))
		s.made("Patient", s.patient(s.v("2m")))
		return s.tx(entry("Patient", s.patient(s.v("2m")), by(s.v("2m"))))
	}},
	{"conditional create, condition does not match the body", "412, 0 there", same, func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("nm")), by(s.v("other")))) + fmt.Sprintf(", %d there", s.count("Patient", by(s.v("nm"))))
	}},
	{"conditional create, empty condition", "400", stricter("200 201", "the real server creates unconditionally, which doubles"), func(s server) string {
		return s.tx(`{"resource":` + s.patient(s.v("ec")) + `,"request":{"method":"POST","url":"Patient","ifNoneExist":""}}`)
	}},
	{"conditional create, the same condition twice in one bundle", "400", stricter("200 201", "the real server answers with fewer entries than were sent"), func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("tw")), by(s.v("tw"))), entry("Patient", s.patient(s.v("tw")), by(s.v("tw"))))
	}},
	{"conditional create, value with a comma, escaped", "200 201, 200 200", same, func(s server) string {
		v := s.v("a,b|c$d")
		condition := "identifier=" + url.QueryEscape(system+"|"+strings.NewReplacer(",", `\,`, "|", `\|`, "$", `\$`).Replace(v))
		e := entry("Patient", s.patient(v), condition)
		return s.tx(e) + ", " + s.tx(e)
	}},
	{"conditional create, value with a comma, not escaped", "412", same, func(s server) string {
		return s.tx(entry("Patient", s.patient(s.v("x,y")), by(s.v("x,y"))))
	}},
	{"AdverseEvent by identifier", "400", same, func(s server) string {
		body := `{"resourceType":"AdverseEvent","actuality":"actual","subject":{"display":"HTEST"},"identifier":{"system":"` + system + `","value":"` + s.v("ae") + `"}}`
		return s.tx(entry("AdverseEvent", body, by(s.v("ae"))))
	}},
	{"AdverseEvent by tag, twice", "200 201, 200 200", same, func(s server) string {
		body := `{"resourceType":"AdverseEvent","actuality":"actual","subject":{"display":"HTEST"},"meta":{"tag":[{"system":"` + system + `","code":"` + s.v("tag") + `"}]}}`
		e := entry("AdverseEvent", body, "_tag="+system+"|"+s.v("tag"))
		return s.tx(e) + ", " + s.tx(e)
	}},
	{"Provenance by tag, twice", "200 201, 200 200", same, func(s server) string {
		body := `{"resourceType":"Provenance","target":[{"display":"HTEST"}],"recorded":"2026-01-01T00:00:00Z","agent":[{"who":{"display":"HTEST"}}],"meta":{"tag":[{"system":"` + system + `","code":"` + s.v("pt") + `"}]}}`
		e := entry("Provenance", body, "_tag="+system+"|"+s.v("pt"))
		return s.tx(e) + ", " + s.tx(e)
	}},
	{"update with the current version", "200 200", same, func(s server) string {
		id := s.made("Observation", s.observation(s.v("um"), ""))
		return s.tx(put("Observation/"+id, withID(id, s.observation(s.v("um"), `,"valueString":"b"`)), `W/"1"`))
	}},
	{"update with a stale version", "412", otherwise("409", "both are a lost race; the receiver says it as the standard does"), func(s server) string {
		id := s.made("Observation", s.observation(s.v("us"), ""))
		s.tx(put("Observation/"+id, withID(id, s.observation(s.v("us"), `,"valueString":"b"`)), `W/"1"`))
		return s.tx(put("Observation/"+id, withID(id, s.observation(s.v("us"), `,"valueString":"c"`)), `W/"1"`))
	}},
	{"a stale entry takes the good one with it", "412, 0 there", otherwise("409, 0 there", "as above"), func(s server) string {
		id := s.made("Observation", s.observation(s.v("at"), ""))
		got := s.tx(entry("Patient", s.patient(s.v("good")), by(s.v("good"))), put("Observation/"+id, withID(id, s.observation(s.v("at"), `,"valueString":"c"`)), `W/"9"`))
		return got + fmt.Sprintf(", %d there", s.count("Patient", by(s.v("good"))))
	}},
	{"ifMatch on what does not exist", "412", stricter("200 201", "the real server creates it"), func(s server) string {
		return s.tx(put("Patient/"+s.v("none"), withID(s.v("none"), s.patient(s.v("none"))), `W/"1"`))
	}},
	{"identical update", "2", otherwise("1", "three of four known servers make a new version, so a sender that repeats itself shall be seen"), func(s server) string {
		id := s.made("Patient", s.patient(s.v("iu")))
		s.tx(put("Patient/"+id, withID(id, s.patient(s.v("iu"))), ""))
		_, tree := s.call(http.MethodGet, "/Patient/"+id, "", "")
		return tree["meta"].(map[string]any)["versionId"].(string)
	}},
	{"id of the client, twice", "200 201, 200 200", same, func(s server) string {
		e := put("Patient/"+s.v("Ab-1.x"), withID(s.v("Ab-1.x"), s.patient(s.v("id"))), "")
		return s.tx(e) + ", " + s.tx(e)
	}},
	{"id of the client, all digits", "400", same, func(s server) string {
		return s.tx(put("Patient/90000001", withID("90000001", s.patient(s.v("num"))), ""))
	}},
	{"id missing in the body, or another", "400, 400", stricter("200 201, 200 200", "in a transaction the real server goes by the url; alone it answers 400"), func(s server) string {
		return s.tx(put("Patient/"+s.v("mi"), s.patient(s.v("mi")), "")) + ", " + s.tx(put("Patient/"+s.v("mi"), withID("another", s.patient(s.v("mi"))), ""))
	}},
	{"links inside a bundle become literal", "true", same, func(s server) string {
		p := entry("Patient", s.patient(s.v("li")), by(s.v("li")))
		urn := p[strings.Index(p, "urn:uuid:") : strings.Index(p, "urn:uuid:")+45]
		s.tx(entry("Observation", s.observation(s.v("lo"), `,"subject":{"reference":"`+urn+`"}`), by(s.v("lo"))), p)
		_, tree := s.call(http.MethodGet, "/Observation?"+by(s.v("lo")), "", "")
		o := tree["entry"].([]any)[0].(map[string]any)["resource"].(map[string]any)
		return fmt.Sprint(strings.HasPrefix(o["subject"].(map[string]any)["reference"].(string), "Patient/"))
	}},
	{"a link to an entry that matched", "true", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("lm")))
		p := entry("Patient", s.patient(s.v("lm")), by(s.v("lm")))
		urn := p[strings.Index(p, "urn:uuid:") : strings.Index(p, "urn:uuid:")+45]
		s.tx(p, entry("Observation", s.observation(s.v("lmo"), `,"subject":{"reference":"`+urn+`"}`), by(s.v("lmo"))))
		_, tree := s.call(http.MethodGet, "/Observation?"+by(s.v("lmo")), "", "")
		o := tree["entry"].([]any)[0].(map[string]any)["resource"].(map[string]any)
		return fmt.Sprint(o["subject"].(map[string]any)["reference"].(string) == "Patient/"+id)
	}},
	{"a link to nothing in the bundle", "400", same, func(s server) string {
		return s.tx(entry("Observation", s.observation(s.v("lx"), `,"subject":{"reference":"urn:uuid:`+uuid.NewString()+`"}`), ""))
	}},
	{"a reference to nothing", "400", same, func(s server) string {
		return s.tx(entry("Observation", s.observation(s.v("rx"), `,"subject":{"reference":"Patient/nobody-`+s.run+`"}`), ""))
	}},
	{"a reference to a wrong type", "422", same, func(s server) string {
		id := s.made("Device", `{"resourceType":"Device","identifier":[{"system":"`+system+`","value":"`+s.v("dev")+`"}]}`)
		return s.tx(entry("Observation", s.observation(s.v("wt"), `,"encounter":{"reference":"Device/`+id+`"}`), ""))
	}},
	{"derived from a Procedure", "422", same, func(s server) string {
		p := s.made("Patient", s.patient(s.v("dp")))
		id := s.made("Procedure", `{"resourceType":"Procedure","status":"completed","subject":{"reference":"Patient/`+p+`"}}`)
		return s.tx(entry("Observation", s.observation(s.v("df"), `,"derivedFrom":[{"reference":"Procedure/`+id+`"}]`), ""))
	}},
	{"a reference by identifier only", "200 201", same, func(s server) string {
		return s.tx(entry("Observation", s.observation(s.v("lg"), `,"subject":{"type":"Patient","identifier":{"system":"x","value":"HTEST"}}`), ""))
	}},
	{"conditional reference: 0, 1, 2 matches", "404, 200 201, 412", same, func(s server) string {
		o := func() string {
			return s.tx(entry("Observation", s.observation(uuid.NewString(), `,"subject":{"reference":"Patient?`+by(s.v("cr"))+`"}`), ""))
		}
		none := o()
		s.made("Patient", s.patient(s.v("cr")))
		one := o()
		s.made("Patient", s.patient(s.v("cr")))
		return none + ", " + one + ", " + o()
	}},
	{"the same fullUrl twice", "400", same, func(s server) string {
		e := entry("Patient", s.patient(s.v("fu")), "")
		return s.tx(e, e)
	}},
	{"an entry without request", "400", same, func(s server) string { return s.tx(`{"resource":` + s.patient(s.v("wr")) + `}`) }},
	{"an unknown type in a search", "404", same, func(s server) string {
		status, _ := s.call(http.MethodGet, "/Nonsense?_id=1", "", "")
		return fmt.Sprint(status)
	}},
	{"a code outside a required binding", "400", same, func(s server) string {
		return s.tx(entry("Observation", strings.Replace(s.observation(s.v("bc"), ""), "final", "finished", 1), ""))
	}},
	{"a required element missing", "422", stricter("200 201", "the real server does not validate unless told to"), func(s server) string {
		return s.tx(entry("Observation", strings.Replace(s.observation(s.v("rm"), ""), `"status":"final",`, "", 1), ""))
	}},
	{"broken JSON, text, a collection", "400, 415, 400", otherwise("400, 400, 400", "the standard names 415 for a wrong media type"), func(s server) string {
		broken, _ := s.post("", `{"resourceType":"Bundle",`)
		text, _ := s.call(http.MethodPost, "/Patient", "text/plain", s.patient(s.v("tp")))
		collection, _ := s.post("", `{"resourceType":"Bundle","type":"collection"}`)
		return fmt.Sprintf("%d, %d, %d", broken, text, collection)
	}},
	{"digits of decimals are kept", "1.50 0.000 100.00", same, func(s server) string {
		var got []string
		for _, digits := range []string{"1.50", "0.000", "100.00"} {
			id := s.made("Observation", s.observation(s.v("d"+digits), `,"valueQuantity":{"value":`+digits+`}`))
			_, tree := s.call(http.MethodGet, "/Observation/"+id, "", "")
			got = append(got, tree["valueQuantity"].(map[string]any)["value"].(json.Number).String())
		}
		return strings.Join(got, " ")
	}},
	{"an unknown search parameter", "400", same, func(s server) string {
		status, _ := s.call(http.MethodGet, "/Patient?nosuch=1", "", "")
		return fmt.Sprint(status)
	}},
	{"POST _search, several values", "200 2", same, func(s server) string {
		s.made("Patient", s.patient(s.v("s1")))
		s.made("Patient", s.patient(s.v("s2")))
		form := url.Values{"identifier": {system + "|" + s.v("s1") + "," + system + "|" + s.v("s2")}}
		status, tree := s.call(http.MethodPost, "/Patient/_search", "application/x-www-form-urlencoded", form.Encode())
		return fmt.Sprintf("%d %d", status, len(tree["entry"].([]any)))
	}},
	{"pages end and link on", "10 2", same, func(s server) string {
		for range 12 {
			s.made("Patient", `{"resourceType":"Patient","meta":{"tag":[{"system":"`+system+`","code":"`+s.v("pg")+`"}]}}`)
		}
		_, first := s.call(http.MethodGet, "/Patient?_tag="+url.QueryEscape(system+"|"+s.v("pg"))+"&_count=10", "", "")
		next := ""
		for _, l := range first["link"].([]any) {
			if l.(map[string]any)["relation"] == "next" {
				next = l.(map[string]any)["url"].(string)
			}
		}
		_, second := s.call(http.MethodGet, strings.TrimPrefix(next, s.base), "", "")
		return fmt.Sprint(len(first["entry"].([]any)), " ", len(second["entry"].([]any)))
	}},
	{"by patient and by subject", "1 1", same, func(s server) string {
		p := s.made("Patient", s.patient(s.v("bp")))
		s.made("Observation", s.observation(s.v("bo"), `,"subject":{"reference":"Patient/`+p+`"}`))
		return fmt.Sprint(s.count("Observation", "patient="+p), " ", s.count("Observation", "subject=Patient/"+p))
	}},
	{"versions can be read, newest first in the history", "200 404 2,1", same, func(s server) string {
		id := s.made("Patient", s.patient(s.v("vr")))
		s.tx(put("Patient/"+id, withID(id, strings.Replace(s.patient(s.v("vr")), `"identifier"`, `"gender":"other","identifier"`, 1)), ""))
		first, _ := s.call(http.MethodGet, "/Patient/"+id+"/_history/1", "", "")
		ninth, _ := s.call(http.MethodGet, "/Patient/"+id+"/_history/9", "", "")
		_, tree := s.call(http.MethodGet, "/Patient/"+id+"/_history", "", "")
		var versions []string
		for _, e := range tree["entry"].([]any) {
			versions = append(versions, e.(map[string]any)["resource"].(map[string]any)["meta"].(map[string]any)["versionId"].(string))
		}
		return fmt.Sprintf("%d %d %s", first, ninth, strings.Join(versions, ","))
	}},
	{"what never was", "404", same, func(s server) string {
		status, _ := s.call(http.MethodGet, "/Patient/never-"+s.run, "", "")
		return fmt.Sprint(status)
	}},
	{"a versioned reference loses its version", "true", same, func(s server) string {
		p := s.made("Patient", s.patient(s.v("ver")))
		id := s.made("Observation", s.observation(s.v("vo"), `,"subject":{"reference":"Patient/`+p+`/_history/1"}`))
		_, tree := s.call(http.MethodGet, "/Observation/"+id, "", "")
		return fmt.Sprint(tree["subject"].(map[string]any)["reference"] == "Patient/"+p)
	}},
	{"an empty transaction", "200", same, func(s server) string { return s.tx() }},
}

// shaped returns a receiver that behaves like the kind of server, as the command
// runs it.
func shaped(t testing.TB, name string) server {
	t.Helper()
	i := slices.IndexFunc(practice.Behaviours(), func(b practice.Behaviour) bool { return b.Name == name })
	require.GreaterOrEqual(t, i, 0, "there is no behaviour %q", name)
	r := practice.New("/fhir")
	shape := practice.Behaviours()[i].Shape
	shape.Deletes = true
	r.Shape(shape)
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	return server{t, web.URL + "/fhir", "HTEST-" + uuid.NewString()[:8]}
}

func TestTheReceiverAnswersAsItShould(t *testing.T) {
	t.Parallel()
	for _, q := range questions {
		t.Run(q.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, q.want, q.ask(shaped(t, "strict")))
			if q.differs.like != "" {
				require.Equal(t, q.differs.hapi, q.ask(shaped(t, q.differs.like)), "like %s", q.differs.like)
			}
		})
	}
}

// The receiver may not be kinder than the real server, unless a behaviour plays
// the unkind one.
func TestDifferencesAreNamedForWhatTheyAre(t *testing.T) {
	t.Parallel()
	for _, q := range questions {
		if q.differs == same {
			continue
		}
		how := compare(q.want, q.differs.hapi)
		if q.differs.how == "kinder" && how == "otherwise" {
			how = "kinder" // no status shows it
		}
		require.Equal(t, q.differs.how, how, q.name)
		require.NotEmpty(t, q.differs.why, q.name)
		require.True(t, q.differs.how != "kinder" || q.differs.like != "", "%s: the receiver is kinder, and no behaviour plays the real server", q.name)
	}
	require.Equal(t, "kinder", compare("204, 200", "409, 200"))
	require.Equal(t, "kinder", compare("400, 201", "201, 400"), "one kindness is enough")
	require.Equal(t, "stricter", compare("422, 1 there", "200 201, 1 there"))
	require.Equal(t, "otherwise", compare("412", "409"))
	require.Equal(t, "not comparable", compare("412", "409, 200"))
}
