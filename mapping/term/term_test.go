package term_test

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
)

func TestCodesAreWhole(t *testing.T) {
	t.Parallel()
	licences := map[term.Licence]bool{term.SNOMEDGlobal: true, term.SNOMEDLicensed: true, term.LOINC: true, term.ICD: true,
		term.ICDO: true, term.ATC: true, term.UCUM: true, term.HL7: true, term.DICOM: true}
	keys, pairs := map[string]bool{}, map[string]bool{}
	for _, c := range term.Codes() {
		require.False(t, keys[c.Key], "%s stands twice", c.Key)
		require.False(t, pairs[c.System+"|"+c.Code], "%s has two keys", c.Code)
		keys[c.Key], pairs[c.System+"|"+c.Code] = true, true
		require.True(t, licences[c.Licence], c.Key)
		require.NotEmpty(t, c.ConfirmedIn, "%s has no source", c.Key)
		require.NotEmpty(t, c.Use, c.Key)
		require.Equal(t, c.System == "http://snomed.info/sct", strings.HasPrefix(string(c.Licence), "snomed"), c.Key)
		require.False(t, strings.HasPrefix(c.Display, "["), "%s has a display in another language", c.Key)
		require.Equal(t, strings.TrimSpace(c.Display), c.Display, c.Key)
	}
}

// Codes that are inactive, belong to a national extension, or were seen with a
// display in another language only, are not in the table at all.
func TestCodesThatMayNotBeSent(t *testing.T) {
	t.Parallel()
	for _, code := range []string{"713154003", "47491000087108", "446411000124101", "371489008", "246214002"} {
		require.False(t, term.Known("http://snomed.info/sct", code, ""), code)
	}
	extension := regexp.MustCompile(`1\d{6}1\d\d$`) // name space of seven digits, partition 10 to 12: not international
	for _, c := range term.Codes() {
		if c.System == "http://snomed.info/sct" {
			require.False(t, len(c.Code) > 11 && extension.MatchString(c.Code), c.Key)
		}
	}
}

// The check digit of a SNOMED CT identifier (Verhoeff's dihedral scheme, as
// the SNOMED CT Release File Specification prescribes it) catches typing
// errors; it proves nothing about meaning.
func TestSNOMEDCheckDigits(t *testing.T) {
	t.Parallel()
	require.True(t, verhoeff("404684003"), "Clinical finding, the example of the specification")
	require.False(t, verhoeff("404684030"))
	for _, c := range term.Codes() {
		if c.System == "http://snomed.info/sct" {
			require.True(t, verhoeff(c.Code), "%s %s", c.Key, c.Code)
		}
	}
}

func verhoeff(digits string) bool {
	multiply := func(a, b int) int { // the dihedral group D5
		switch {
		case a < 5 && b < 5:
			return (a + b) % 5
		case a < 5:
			return (a+b)%5 + 5
		case b < 5:
			return (a-b+5)%5 + 5
		}
		return (a - b + 5) % 5
	}
	permute := [10]int{1, 5, 7, 6, 2, 8, 3, 0, 9, 4}
	check := 0
	for i := range digits {
		d := int(digits[len(digits)-1-i] - '0')
		for range i % 8 {
			d = permute[d]
		}
		check = multiply(check, d)
	}
	return check == 0
}

// The check digit of a LOINC code (mod 10 of Luhn, LOINC Users' Guide).
func TestLOINCCheckDigits(t *testing.T) {
	t.Parallel()
	luhn := func(code string) bool {
		number, check, ok := strings.Cut(code, "-")
		if !ok {
			return false
		}
		sum := 0
		for i := range number {
			d := int(number[len(number)-1-i] - '0')
			if i%2 == 0 {
				if d *= 2; d > 9 {
					d -= 9
				}
			}
			sum += d
		}
		return check == string(rune('0'+(10-sum%10)%10))
	}
	require.True(t, luhn("33728-7"))
	require.False(t, luhn("33729-3"), "an often mistyped code")
	for _, c := range term.Codes() {
		if c.Licence == term.LOINC && !strings.HasPrefix(c.Code, "LP") { // parts have no such digit in the same way
			require.True(t, luhn(c.Code), c.Code)
		}
	}
}

func TestConceptsAreWhole(t *testing.T) {
	t.Parallel()
	codes := map[string]bool{}
	form := regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	for _, c := range term.Concepts() {
		require.False(t, codes[c.Code], "%s stands twice", c.Code)
		codes[c.Code] = true
		require.Regexp(t, form, c.Code)
		require.Regexp(t, form, c.Group)
		require.NotEmpty(t, c.Display, c.Code)
		require.Regexp(t, `\.$`, c.Definition, "%s: a definition is a sentence", c.Code)
		require.NotEqual(t, strings.TrimSuffix(c.Definition, "."), c.Code)
		for _, s := range c.Standards {
			require.NotEqual(t, term.System, s.Code.System)
		}
	}
	groups := map[string]bool{}
	for _, g := range term.Groups() {
		require.False(t, groups[g], "group %s stands in two places", g)
		groups[g] = true
	}
}

func TestOwn(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ group, value, code string }{
		{"jnet", "2A", "jnet-2a"}, {"paris", "0-IIa", "paris-0-iia"}, {"kudo", "VI-mild", "kudo-vi-mild"},
		{"observation", "paris-type", "paris-type"}, {"pt", "pT1b-SM1", "pt-pt1b-sm1"},
	} {
		got, ok := term.Own(c.group, c.value)
		require.True(t, ok, c.code)
		require.Equal(t, c.code, got.Code)
	}
	for _, c := range []struct{ group, value string }{{"jnet", "4"}, {"none", "x"}, {"jnet", ""}, {"", ""}} {
		_, ok := term.Own(c.group, c.value)
		require.False(t, ok)
	}
}

func TestKnown(t *testing.T) {
	t.Parallel()
	require.True(t, term.Known(term.System, "jnet-2a", "JNET 2A"))
	require.False(t, term.Known(term.System, "jnet-2a", "JNET IIA"))
	require.False(t, term.Known(term.System, "jnet-9", ""))
	require.True(t, term.Known("http://snomed.info/sct", "69695003", "Stomach structure (body structure)"))
	require.False(t, term.Known("http://snomed.info/sct", "69695003", "Stomach"))
	require.True(t, term.Known("http://loinc.org", "LP7796-8", ""), "no English display was seen, so none is sent")
}

func TestSlug(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{"R2.gastric.curability.ecura": "r2-gastric-curability-ecura", "R4.bleed.gseed_re": "r4-bleed-gseed-re",
		"C-1": "c-1", "--a--": "a", "": "", "µm": "m"} {
		require.Equal(t, want, term.Slug(in))
	}
}
