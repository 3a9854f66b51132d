package delivery

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

func TestCompareTellsLossFromForm(t *testing.T) {
	t.Parallel()
	base := "http://h/fhir"
	for name, c := range map[string]struct {
		sent, read string
		want       []Difference
	}{
		"id and meta of the server":  {`{"resourceType":"X","a":1}`, `{"resourceType":"X","id":"7","a":1,"meta":{"versionId":"3","lastUpdated":"z","source":"#q"}}`, nil},
		"order of tags":              {`{"resourceType":"X","meta":{"tag":[{"code":"a"},{"code":"b"}]}}`, `{"resourceType":"X","meta":{"tag":[{"code":"b"},{"code":"a"}]}}`, nil},
		"the words of a label":       {`{"resourceType":"X","meta":{"security":[{"code":"a","display":"A"}]}}`, `{"resourceType":"X","meta":{"security":[{"code":"a"}]}}`, nil},
		"another label":              {`{"resourceType":"X","meta":{"security":[{"code":"a"}]}}`, `{"resourceType":"X","meta":{"security":[{"code":"b"}]}}`, []Difference{{"r", "X.meta.security[0].code", Changed}}},
		"a tag lost":                 {`{"resourceType":"X","meta":{"tag":[{"code":"a"}]}}`, `{"resourceType":"X"}`, []Difference{{"r", "X.meta", Lost}}},
		"base and version in a link": {`{"resourceType":"X","s":{"reference":"Patient/1"}}`, `{"resourceType":"X","s":{"reference":"http://h/fhir/Patient/1/_history/2"}}`, nil},
		"another link":               {`{"resourceType":"X","s":{"reference":"Patient/1"}}`, `{"resourceType":"X","s":{"reference":"Patient/2"}}`, []Difference{{"r", "X.s.reference", Changed}}},
		"digits":                     {`{"resourceType":"X","v":[{"value":1.50}]}`, `{"resourceType":"X","v":[{"value":1.5}]}`, []Difference{{"r", "X.v[0].value", Digits}}},
		"digits with exponent":       {`{"resourceType":"X","v":100}`, `{"resourceType":"X","v":1.0e2}`, []Difference{{"r", "X.v", Digits}}},
		"another number":             {`{"resourceType":"X","v":1.50}`, `{"resourceType":"X","v":1.51}`, []Difference{{"r", "X.v", Changed}}},
		"number as text":             {`{"resourceType":"X","v":1}`, `{"resourceType":"X","v":"1"}`, []Difference{{"r", "X.v", Changed}}},
		"a huge exponent":            {`{"resourceType":"X","v":1}`, `{"resourceType":"X","v":1e999999999}`, []Difference{{"r", "X.v", Changed}}},
		"truth":                      {`{"resourceType":"X","v":true}`, `{"resourceType":"X","v":false}`, []Difference{{"r", "X.v", Changed}}},
		"lost and added":             {`{"resourceType":"X","a":1,"b":[1,2]}`, `{"resourceType":"X","b":[1],"c":1}`, []Difference{{"r", "X.a", Lost}, {"r", "X.b[1]", Lost}, {"r", "X.c", Added}}},
		"a name that carries data":   {`{"resourceType":"X"}`, `{"resourceType":"X","HTEST name, 1970":1}`, []Difference{{"r", "X.?", Added}}},
		"form of the narrative": {`{"resourceType":"X","text":{"div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p class=\"a\" id=\"b\">x &amp; y<br/></p></div>"}}`,
			`{"resourceType":"X","text":{"div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">\n <p id='b' class='a'>x &#38; y<br></br></p></div>"}}`, nil},
		"words of the narrative": {`{"resourceType":"X","text":{"div":"<div>margin negative</div>"}}`, `{"resourceType":"X","text":{"div":"<div>margin positive</div>"}}`, []Difference{{"r", "X.text.div", Changed}}},
	} {
		got, err := compare("r", []byte(c.sent), []byte(c.read), base)
		require.NoError(t, err, name)
		require.Equal(t, c.want, got, name)
	}
	_, err := compare("r", []byte(`{"resourceType":"X"}`), []byte(`<html>`), base)
	require.Error(t, err)
}

func TestReferencesAreExchangedAndNothingElse(t *testing.T) {
	t.Parallel()
	body := []byte(`{"a":{"reference":"urn:uuid:1"},"note":"\"reference\":\"urn:uuid:1\"","value":"urn:uuid:1","z":[{"reference":"urn:uuid:2"},{"reference":"Patient/\"x"}]}`)
	out := op{local: bodyOf(body)}.linked(map[string]string{"urn:uuid:1": "Procedure/7"})
	require.JSONEq(t, `{"a":{"reference":"Procedure/7"},"note":"\"reference\":\"urn:uuid:1\"","value":"urn:uuid:1","z":[{"reference":"urn:uuid:2"},{"reference":"Patient/\"x"}]}`, string(out))
}

func TestExternalReferencesAreReadAsTheyAreSpelled(t *testing.T) {
	t.Parallel()
	for raw, want := range map[string]external{
		`Patient?identifier=urn:x|1`:                   {"Patient", "urn:x|1", "urn:x", "1"},
		`Patient?identifier=urn%3Ax%7Ca%5C%2Cb%5C%7Cc`: {"Patient", `urn:x|a\,b\|c`, "urn:x", "a,b|c"},
		`Encounter?identifier=urn:x|a%20b%2Bc`:         {"Encounter", "urn:x|a b+c", "urn:x", "a b+c"},
		`Encounter?identifier=urn:x|a\\,b`:             {"Encounter", `urn:x|a\,b`, "urn:x", "a,b"}, // JSON escapes come off first
		`Encounter?identifier=alone`:                   {"Encounter", "alone", "", "alone"},
	} {
		got, ok := readExternal([]byte(raw))
		require.True(t, ok, raw)
		require.Equal(t, want, got, raw)
	}
	for _, raw := range []string{"Patient/1", "urn:uuid:1", "Patient?name=x", "Patient?identifier=", "Patient?identifier=urn:x|", "Patient?identifier=%zz", `Patient?identifier=a\q`, "http://x/Patient?identifier=1"} {
		_, ok := readExternal([]byte(raw))
		require.False(t, ok, raw)
	}
}

// localised is a body as it is written once its references are resolved.
func localised(raw []byte, resolved resolutions) ([]byte, error) {
	local, err := bodyOf(raw).localise(resolved)
	return op{local: local, resolved: resolved}.linked(nil), err
}

func TestALogicalReferenceKeepsWhatStoodBesideIt(t *testing.T) {
	t.Parallel()
	body := []byte(`{"performer":{"display":"HTEST","reference":"Practitioner?identifier=urn:x|1","type":"Practitioner"},"subject":{"reference":"Patient?identifier=urn:x|2"},"v":1.50}`)
	looked := map[external]string{{"Patient", "urn:x|2", "urn:x", "2"}: "Patient/7", {"Practitioner", "urn:x|1", "urn:x", "1"}: ""}
	resolved, failure := resolveAll([]op{{local: bodyOf(body)}}, func(x external) (string, *Failure) {
		literal, once := looked[x]
		require.True(t, once, x)
		delete(looked, x)
		return literal, nil
	})
	require.Nil(t, failure)
	require.Empty(t, looked)
	got, err := localised(body, resolved)
	require.NoError(t, err)
	require.Equal(t, `{"performer":{"display":"HTEST","identifier":{"system":"urn:x","value":"1"},"type":"Practitioner"},"subject":{"reference":"Patient/7"},"v":1.50}`, string(got))
}

// A patient whom the target shall find itself stays a search, also beside a
// reference by identifier.
func TestAConditionalReferenceStaysOne(t *testing.T) {
	t.Parallel()
	body := []byte(`{"performer":{"reference":"Practitioner?identifier=urn:x|1"},"subject":{"reference":"Patient?identifier=urn%3Ax%7C2"}}`)
	resolved, failure := resolveAll([]op{{local: bodyOf(body)}}, func(x external) (string, *Failure) {
		if x.Type == "Patient" {
			return "Patient?identifier=urn:x|2", nil
		}
		return "", nil
	})
	require.Nil(t, failure)
	got, err := localised(body, resolved)
	require.NoError(t, err)
	require.Equal(t, `{"performer":{"identifier":{"system":"urn:x","value":"1"},"type":"Practitioner"},"subject":{"reference":"Patient?identifier=urn:x|2"}}`, string(got))
}

func TestBundleFramesAreJSONWhateverTheBaseAndTheVersionHold(t *testing.T) {
	t.Parallel()
	ops := []op{
		{action: create, key: "k1", kind: "Observation", uuid: "u1", searchBy: "identifier", local: bodyOf([]byte(`{"resourceType":"Observation","s":{"reference":"urn:uuid:u2"}}`))},
		{action: update, key: "k2", kind: "Procedure", uuid: "u2", local: bodyOf([]byte(`{"resourceType":"Procedure"}`)), entry: store.LedgerEntry{ServerID: "7", Version: `a"b\`}},
	}
	var bundle struct {
		Entry []struct {
			FullURL  string `json:"fullUrl"`
			Resource json.RawMessage
			Request  struct{ Method, URL, IfNoneExist, IfMatch string }
		}
	}
	client, err := fhirserver.New(fhirserver.Config{BaseURL: "http://h/fhir"})
	require.NoError(t, err)
	to := Target{Client: client, Rung: RungConditionalCreate}
	require.NoError(t, json.Unmarshal(buildBundle(to, ops, map[string]string{"urn:uuid:u2": "Procedure/7"}), &bundle))
	require.Equal(t, "identifier=https://enbloc.example/fhir/sid/role-key|k1", bundle.Entry[0].Request.IfNoneExist)
	require.JSONEq(t, `{"resourceType":"Observation","s":{"reference":"Procedure/7"}}`, string(bundle.Entry[0].Resource))
	require.Equal(t, `W/"a"b\"`, bundle.Entry[1].Request.IfMatch)
	require.Equal(t, "http://h/fhir/Procedure/7", bundle.Entry[1].FullURL)
	require.JSONEq(t, `{"resourceType":"Procedure","id":"7"}`, string(bundle.Entry[1].Resource))

	to.Rung = RungClientIDs
	require.NoError(t, json.Unmarshal(buildBundle(to, ops[:1], nil), &bundle))
	require.Equal(t, "Observation/k1", bundle.Entry[0].Request.URL)
	require.Empty(t, bundle.Entry[0].Request.IfMatch)
}

func TestWaitsGrowStayBoundedAndSpread(t *testing.T) {
	t.Parallel()
	for attempt := 1; attempt < 1000; attempt++ {
		got := defaultBackoff(attempt)
		step := longestWait
		if attempt < 11 {
			step = min(firstWait<<(attempt-1), longestWait)
		}
		require.GreaterOrEqual(t, got, step/2)
		require.LessOrEqual(t, got, step)
	}
}

func TestEveryClassDecidesWhatBecomesOfARow(t *testing.T) {
	t.Parallel()
	s := &Service{}
	now := time.Now()
	young := store.Delivery{Created: now, Attempts: 1}
	for class, want := range map[target.Class][2]store.DeliveryState{
		target.Retry: {store.Retrying, store.Dead}, target.Unknown: {store.Retrying, store.Dead}, target.Auth: {store.Retrying, store.Dead},
		target.StepDown: {store.Retrying, store.Dead}, target.Park: {store.ParkedDelivery, store.Dead},
		target.Conflict: {store.InConflict, store.InConflict}, target.Permanent: {store.Dead, store.Dead},
	} {
		for i, spent := range []bool{false, true} {
			state, next := s.next(young, &Failure{Class: class, After: 10 * time.Minute}, spent, now)
			require.Equal(t, want[i], state, class)
			if state.Open() {
				require.GreaterOrEqual(t, next.Sub(now), 10*time.Minute, "what the target asks for is kept")
			}
		}
	}
	state, _ := s.next(young, &Failure{Class: target.Permanent, Reason: LaterDelivered}, false, now)
	require.Equal(t, store.Superseded, state)
	for reason := range sentences {
		require.NotEmpty(t, reason.Sentence())
	}
	for _, class := range target.Classes() {
		require.NotEmpty(t, reasons[class].Sentence(), class)
	}
}

// What counts is how long a row was tried, not its age: neither a machine that was
// off, nor a clock that jumps, nor what came before it was sent again.
func TestOnlyTryingSpendsTheBudget(t *testing.T) {
	t.Parallel()
	start := time.Now()
	at := func(hours ...float64) (all []store.Attempt) {
		for _, h := range hours {
			all = append(all, store.Attempt{Started: start.Add(time.Duration(h * float64(time.Hour)))})
		}
		return all
	}
	for name, c := range map[string]struct {
		attempts []store.Attempt
		now      float64
		want     time.Duration
	}{
		"first attempt of an old row":   {nil, 96, 0},
		"an hour between two":           {at(0, 1), 2, 2 * time.Hour},
		"four days off":                 {at(0, 1, 97), 97.5, 3*time.Hour + 30*time.Minute},
		"the clock back":                {at(5, 1), 2, time.Hour},
		"tried before it was sent anew": {at(-3, -2, -1, 0), 1, time.Hour},
	} {
		require.Equal(t, c.want, tried(c.attempts, start, start.Add(time.Duration(c.now*float64(time.Hour)))), name)
	}
}

func FuzzReferences(f *testing.F) {
	f.Add([]byte(`{"a":{"reference":"Patient?identifier=urn:x|1"},"b":{"reference":"urn:uuid:1"}}`))
	f.Add([]byte(`"reference":"`))
	f.Add([]byte(`"reference":"\`))
	f.Fuzz(func(t *testing.T, body []byte) {
		if !bytes.Equal(op{local: bodyOf(body)}.linked(nil), body) {
			t.Fatal("changed without a reason")
		}
		got, err := localised(body, resolutions{"Patient?identifier=urn:x|1": {literal: "Patient/7"}})
		if err == nil && json.Valid(body) && !json.Valid(got) {
			t.Fatalf("made invalid JSON of %q", body)
		}
	})
}

func FuzzCompare(f *testing.F) {
	f.Add([]byte(`{"resourceType":"X","a":[1.50,{"reference":"Patient/1"}]}`), []byte(`{"resourceType":"X","a":[1.5]}`))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		_, _ = compare("r", a, b, "http://h")
		if all, err := compare("r", a, a, "http://h"); err == nil && len(all) > 0 {
			t.Fatalf("differs from itself: %v", all)
		}
	})
}
