package pseudo_test

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/pseudo"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

var (
	key     = []byte("HTEST identity key, never for patients")
	secret  = []byte("HTEST secret of a recipient, 32+ bytes")
	another = []byte("HTEST secret of another recipient, 32+")
)

func recipient(t *testing.T, s pseudo.Settings) *pseudo.Recipient {
	t.Helper()
	if s.Name == "" {
		s.Name = "probe"
	}
	if s.Secret == nil {
		s.Secret = secret
	}
	r, err := pseudo.New(s)
	require.NoError(t, err)
	return r
}

func mapped(t *testing.T, rep report.Report) graph.Graph {
	t.Helper()
	g, err := mapping.New(key).Map(rep, 1)
	require.NoError(t, err)
	return g
}

func apply(t *testing.T, r *pseudo.Recipient, g graph.Graph) graph.Graph {
	t.Helper()
	out, err := r.Apply(g)
	require.NoError(t, err)
	return out
}

// bytesOf is all that a target is shown of a graph.
func bytesOf(g graph.Graph) string {
	var b strings.Builder
	for _, r := range g.Resources {
		b.WriteString(r.Key + " " + r.UUID + " " + string(r.Body) + "\n")
	}
	names := g.Named()
	return b.String() + names.CaseKey + names.CaseKeySystem + names.RoleKeySystem
}

// without fails with what stands around a text that must not be there.
func without(t *testing.T, out, text string) {
	t.Helper()
	if i := strings.Index(out, text); i >= 0 {
		t.Fatalf("%q is found: %s", text, out[max(i-80, 0):min(i+80, len(out))])
	}
}

// reports are invented cases that cover the format, and many by seed.
func reports(seeds uint64) []report.Report {
	var all []report.Report
	for _, c := range sample.Cover(8) {
		all = append(all, c.Merged())
	}
	for seed := range seeds {
		all = append(all, sample.Make(seed+1).Merged())
	}
	return all
}

// The identifiers of 45 CFR 164.514(b)(2)(i) that a report can hold (names,
// record numbers, device and other serial numbers, URLs, any other unique
// number, and free text with any of them) are found nowhere, under both ways of
// treating dates.
func TestPlantedValuesAreFoundNowhere(t *testing.T) {
	t.Parallel()
	for _, dates := range []pseudo.Dates{pseudo.Shift, pseudo.Month} {
		r, found := recipient(t, pseudo.Settings{Dates: dates}), 0
		for _, rep := range reports(4) {
			rep, n := plant(rep)
			require.Greater(t, n, 10)
			g := mapped(t, rep)
			if strings.Contains(bytesOf(g), mark) {
				found++
			}
			left := apply(t, r, g)
			out := bytesOf(left)
			without(t, strings.ToUpper(out), mark)
			without(t, out, "1931-02-03")
			without(t, out, "hospital.example")
			keys := keysIn(left)
			require.False(t, keys[g.CaseKey])
			for _, res := range g.Resources {
				require.False(t, keys[res.Key] || keys[res.UUID], res.Role)
			}
		}
		require.Equal(t, 12, found, "the record itself holds what was planted, or nothing was tested")
	}
}

// The rule for dates of 45 CFR 164.514(b)(2)(i)(C), as far as a recipient is
// given them: moved, no time stands as it was; cut, no day is left.
func TestDatesDoNotStayAsTheyWere(t *testing.T) {
	t.Parallel()
	full := regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)`)
	day := regexp.MustCompile(`\d{4}-\d\d-\d\d`)
	shift, month := recipient(t, pseudo.Settings{}), recipient(t, pseudo.Settings{Dates: pseudo.Month})
	for _, rep := range reports(2) {
		g := mapped(t, rep)
		out := bytesOf(apply(t, shift, g))
		was := map[string]bool{}
		for _, at := range full.FindAllString(bytesOf(g), -1) {
			was[at] = true
		}
		for _, at := range full.FindAllString(out, -1) {
			require.False(t, was[at], at)
			require.True(t, strings.HasSuffix(at, "Z"), "%s tells country and season", at)
		}
		require.Empty(t, day.FindAllString(bytesOf(apply(t, month, g)), -1))
	}
}

// Every time of a patient moves by one whole number of days, in every case of
// the patient, and by another for another recipient (most of the time).
func TestIntervalsSurvive(t *testing.T) {
	t.Parallel()
	offsets := map[time.Duration]bool{}
	for seed := range uint64(12) {
		first, second := sample.Make(2*seed+1).Merged(), sample.Make(2*seed+2).Merged()
		second.Patient = first.Patient
		r := recipient(t, pseudo.Settings{})
		var by []time.Duration
		for _, rep := range []report.Report{first, second} {
			_, fields, err := r.Preview(mapped(t, rep))
			require.NoError(t, err)
			for _, f := range fields {
				if f.Reason != pseudo.Moved || len(f.From) <= len(time.DateOnly) {
					continue
				}
				from, err := time.Parse(time.RFC3339, f.From)
				require.NoError(t, err)
				to, err := time.Parse(time.RFC3339, f.To)
				require.NoError(t, err)
				by = append(by, from.Sub(to))
			}
		}
		require.Greater(t, len(by), 50)
		require.Len(t, slices.Compact(slices.Clone(by)), 1)
		days := by[0] / (24 * time.Hour)
		require.Zero(t, by[0]%(24*time.Hour))
		require.True(t, days >= 1 && days <= 365, days)
		offsets[days] = true
	}
	require.Greater(t, len(offsets), 8, "patients move by different numbers of days")
}

var pseudonym = regexp.MustCompile(`[pck][0-9a-f]{40}|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`)

func keysIn(g graph.Graph) map[string]bool {
	all := map[string]bool{}
	for _, k := range pseudonym.FindAllString(bytesOf(g), -1) {
		all[k] = true
	}
	return all
}

func patientIn(t *testing.T, g graph.Graph) string {
	t.Helper()
	all := regexp.MustCompile(`Patient\?identifier=[^"]*`).FindAllString(bytesOf(g), -1)
	slices.Sort(all)
	all = slices.Compact(all)
	require.Len(t, all, 1)
	return all[0]
}

func TestOnePatientLinksForOneRecipientOnly(t *testing.T) {
	t.Parallel()
	first, second := sample.Make(3).Merged(), sample.Make(4).Merged()
	second.Patient = first.Patient
	a, b := mapped(t, first), mapped(t, second)
	r := recipient(t, pseudo.Settings{})
	require.Equal(t, patientIn(t, apply(t, r, a)), patientIn(t, apply(t, r, b)))
	third := sample.Make(5).Merged()
	require.NotEqual(t, patientIn(t, apply(t, r, a)), patientIn(t, apply(t, r, mapped(t, third))))
	ours := keysIn(apply(t, r, a))
	require.Greater(t, len(ours), 20)
	for name, other := range map[string]*pseudo.Recipient{
		"another secret":                  recipient(t, pseudo.Settings{Name: "other", Secret: another}),
		"another name, the same secret":   recipient(t, pseudo.Settings{Name: "other"}),
		"the same name, another secret":   recipient(t, pseudo.Settings{Secret: another}),
		"another secret, the same system": recipient(t, pseudo.Settings{Name: "other", Secret: another, System: r.System}),
	} {
		for k := range keysIn(apply(t, other, a)) {
			require.False(t, ours[k], "%s: %s joins the two", name, k)
		}
	}
}

// The recipe is frozen. Expected values by OpenSSL:
// printf '%s' '1|probe|patient|https://hospital.example/sid/patient|HTEST-P-0101' | openssl dgst -sha256 -hmac 'HTEST secret of a recipient, 32+ bytes'.
func TestTheRecipeIsFrozen(t *testing.T) {
	t.Parallel()
	r := recipient(t, pseudo.Settings{})
	require.Equal(t, "p27aaf1ee41b6847cb72f548883a4f826860e1444", r.Patient("https://hospital.example/sid/patient", "HTEST-P-0101"))
	require.Equal(t, "c782f65ae42623cec3807e59819df69aac911646d", r.CaseKey("c4fd209e27bd6ee5cfddd3d633e56487654aff741"))
	// A separator in a value makes no other value's pseudonym.
	require.NotEqual(t, r.Patient("a|b", "c"), r.Patient("a", "b|c"))
}

// 45 CFR 164.514(b)(2)(i)(C): ages over 89 may be given as 90 or older.
func TestAgesAbove89AreBanded(t *testing.T) {
	t.Parallel()
	rep := sample.Make(1).Merged()
	for age, want := range map[int]string{
		64: `{"value":64,"system":"http://unitsofmeasure.org","code":"a"}`,
		89: `{"value":89,"system":"http://unitsofmeasure.org","code":"a"}`,
		90: `{"value":90,"comparator":">=","system":"http://unitsofmeasure.org","code":"a"}`,
		97: `{"value":90,"comparator":">=","system":"http://unitsofmeasure.org","code":"a"}`,
	} {
		rep.Patient.AgeY = report.Int(age)
		g := mapped(t, rep)
		require.NotEmpty(t, g.Born.From)
		out := apply(t, recipient(t, pseudo.Settings{}), g)
		require.Contains(t, bytesOf(out), want)
		require.Zero(t, out.Born, "when the patient was born is nobody's business")
		if age > 90 {
			require.NotContains(t, bytesOf(out), `"value":97,`)
		}
	}
}

// What nobody allowed does not leave: a member that is not on the list, put into
// every object of every resource, in every shape.
func TestAFieldNobodyAllowedDoesNotLeave(t *testing.T) {
	t.Parallel()
	r := recipient(t, pseudo.Settings{})
	for _, rep := range reports(1) {
		g := mapped(t, rep)
		clean := bytesOf(apply(t, r, g))
		for i, res := range g.Resources {
			g.Resources[i].Body = polluted(t, res.Body)
		}
		out := bytesOf(apply(t, r, g))
		without(t, out, mark)
		require.True(t, clean == out)
	}
}

// polluted puts unknown members behind those of every object.
func polluted(t *testing.T, body []byte) json.RawMessage {
	t.Helper()
	const more = `,"newField":"` + mark + `","newList":["` + mark + `",{"valueString":"` + mark + `"}],"newObject":{"reference":"` + mark + `"},` +
		`"_newField":{"extension":[{"url":"x","valueString":"` + mark + `"}]},"id":"` + mark + `","contained":[{"resourceType":"Patient","name":[{"family":"` + mark + `"}]}]}`
	var out strings.Builder
	inText, escaped := false, false
	for _, c := range string(body) {
		switch {
		case escaped:
			escaped = false
		case c == '\\' && inText:
			escaped = true
		case c == '"':
			inText = !inText
		case c == '}' && !inText:
			out.WriteString(more)
			continue
		}
		out.WriteRune(c)
	}
	require.True(t, json.Valid([]byte(out.String())))
	return json.RawMessage(out.String())
}

func TestEveryResourceIsLabelled(t *testing.T) {
	t.Parallel()
	rep := sample.Make(9).Merged()
	for _, test := range []bool{true, false} {
		rep.TestData = test
		for _, res := range apply(t, recipient(t, pseudo.Settings{}), mapped(t, rep)).Resources {
			var r struct {
				Meta struct {
					Profile  []string
					Security []struct{ System, Code string }
				}
			}
			require.NoError(t, json.Unmarshal(res.Body, &r))
			var codes []string
			for _, s := range r.Meta.Security {
				codes = append(codes, s.System+"|"+s.Code)
			}
			want := []string{"http://terminology.hl7.org/CodeSystem/v3-ObservationValue|PSEUDED"}
			if test {
				want = append([]string{"http://terminology.hl7.org/CodeSystem/v3-ActReason|HTEST"}, want...)
			}
			require.Equal(t, want, codes, res.Role)
			require.Empty(t, r.Meta.Profile, "a profile would no longer be true")
		}
	}
}

// A code of the site's own names the site; it leaves only where the list has its
// system, and never with words.
func TestCodesOfTheSiteStayUnlessListed(t *testing.T) {
	t.Parallel()
	g := mapped(t, sample.Make(2).Merged())
	for i, res := range g.Resources {
		g.Resources[i].Body = []byte(strings.ReplaceAll(string(res.Body), `"coding":[`,
			`"coding":[{"system":"https://hospital.example/codes","code":"ESD-7","display":"`+mark+`"},`))
	}
	without(t, bytesOf(apply(t, recipient(t, pseudo.Settings{}), g)), "hospital.example")
	list := pseudo.Default()
	list.Systems = []string{"https://hospital.example/codes"}
	out := bytesOf(apply(t, recipient(t, pseudo.Settings{Allow: list}), g))
	require.Contains(t, out, `{"system":"https://hospital.example/codes","code":"ESD-7"}`)
	without(t, out, mark)
	// A known code with words of somebody's own is not that code.
	for i, res := range g.Resources {
		g.Resources[i].Body = []byte(strings.ReplaceAll(string(res.Body), `"display":"Stomach"`, `"display":"`+mark+`"`))
	}
	without(t, bytesOf(apply(t, recipient(t, pseudo.Settings{}), g)), mark)
}

func TestTheSameGivesTheSameBytes(t *testing.T) {
	t.Parallel()
	for _, rep := range reports(2) {
		a, b := mapped(t, rep), mapped(t, rep)
		before := bytesOf(a)
		out, fields, err := recipient(t, pseudo.Settings{}).Preview(a)
		require.NoError(t, err)
		require.NotEmpty(t, fields)
		require.True(t, bytesOf(out) == bytesOf(apply(t, recipient(t, pseudo.Settings{}), b)))
		require.True(t, before == bytesOf(a), "the graph that came in was changed")
	}
}

// The preview is complete: every value of the record is told of once or more,
// and every value that leaves was told to leave.
func TestThePreviewTellsOfEveryField(t *testing.T) {
	t.Parallel()
	g := mapped(t, sample.Make(12).Merged())
	out, fields, err := recipient(t, pseudo.Settings{}).Preview(g)
	require.NoError(t, err)
	told, left := map[string]bool{}, map[string]bool{}
	for _, f := range fields {
		require.NotEmpty(t, f.Reason.Sentence(), f.Reason)
		path := strings.TrimSuffix(f.Path, ".coding")
		for at := path; at != ""; at = at[:max(strings.LastIndexByte(at, '.'), 0)] {
			told[f.Role+" "+at] = true
			if f.Verdict != pseudo.Stays {
				left[f.Role+" "+at] = true
			}
		}
	}
	for _, res := range g.Resources {
		for _, path := range topLevel(t, res.Body) {
			require.True(t, told[res.Role+" "+path], "%s %s", res.Role, path)
		}
	}
	for _, res := range out.Resources {
		for _, path := range topLevel(t, res.Body) {
			require.True(t, left[res.Role+" "+strings.TrimPrefix(path, "_")], "%s %s", res.Role, path)
		}
	}
}

func topLevel(t *testing.T, body []byte) []string {
	t.Helper()
	var o map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(body, &o))
	delete(o, "resourceType")
	var all []string
	for name := range o {
		all = append(all, name)
	}
	return all
}

func TestSettingsThatCannotBeTrustedAreRefused(t *testing.T) {
	t.Parallel()
	for want, s := range map[string]pseudo.Settings{
		"name":        {Name: "Ü", Secret: secret},
		"shorter":     {Name: "r", Secret: []byte("short")},
		"not a URL":   {Name: "r", Secret: secret, System: "registry|x"},
		"treat dates": {Name: "r", Secret: secret, Dates: "year"},
		"allow-list":  {Name: "r", Secret: secret, Allow: pseudo.AllowList{Format: pseudo.Format, Version: "1"}},
	} {
		_, err := pseudo.New(s)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), "short\"")
	}
}

func TestAllowListsAreReadStrictly(t *testing.T) {
	t.Parallel()
	const head = `{"format":"enbloc-allow-list/1","version":"1","systems":[],"words":[],`
	for want, raw := range map[string]string{
		"unknown field":               head + `"typs":{}}`,
		"no way":                      head + `"types":{"Specimen":{"note.text":"text"}}}`,
		"cannot be pseudonymised":     head + `"types":{"Media":{"status":"code"}}}`,
		"Observation.code is missing": head + `"types":{"Observation":{"status":"code"}}}`,
		"is not":                      `{"format":"x"}`,
		"is no URL":                   `{"format":"enbloc-allow-list/1","version":"1","systems":["x y"],"words":[],"types":{"Specimen":{"type":"concept"}}}`,
		"needs a":                     `{"format":"enbloc-allow-list/1","systems":[],"words":[],"types":{}}`,
	} {
		_, err := pseudo.ReadAllowList([]byte(raw))
		require.ErrorContains(t, err, want)
	}
	list, err := pseudo.ReadAllowList(pseudo.DefaultJSON())
	require.NoError(t, err)
	require.Equal(t, pseudo.Default(), list)
}

// Where only little may leave, what is left is still whole: references go with
// what they led to.
func TestAShortListMakesASoundRecord(t *testing.T) {
	t.Parallel()
	list, err := pseudo.ReadAllowList([]byte(`{"format":"enbloc-allow-list/1","version":"short","systems":[],"words":[],"types":{
		"Procedure":{"identifier":"key","status":"code","code":"concept","subject":"link","reasonReference":"link"},
		"Provenance":{"target":"link","recorded":"instant","agent.who":"link"}}}`))
	require.NoError(t, err)
	for _, dates := range []pseudo.Dates{pseudo.Shift, pseudo.Month} {
		out := apply(t, recipient(t, pseudo.Settings{Allow: list, Dates: dates}), mapped(t, sample.Make(6).Merged()))
		for _, res := range out.Resources {
			require.Contains(t, []string{"Procedure", "Provenance"}, res.Type)
			require.NotContains(t, string(res.Body), "reasonReference")
			if res.Type == "Provenance" {
				require.Equal(t, dates == pseudo.Month, strings.Contains(string(res.Body), `"_recorded":{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"masked"}]}`))
			}
		}
	}
}
