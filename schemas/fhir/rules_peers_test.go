//go:build peers

package fhir_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	published "enbloc/schemas/fhir"
)

// object is a resource, or a part of one, as JSON.
type object = map[string]any

// mapped are resources that enbloc writes: those of many random cases, and of
// the example cases as their golden files have them.
func mapped(t *testing.T) []object {
	t.Helper()
	var out []object
	book := assess.DefaultBook()
	for _, c := range sample.Cover(sample.CoverAll) {
		rep := c.Merged()
		for _, l := range rep.Lesions { // the generator knows one container only
			if l.Specimen != nil && l.Specimen.Retrieved == report.Yes {
				l.Specimen.Containers = append(l.Specimen.Containers, report.Container{}, report.Container{Content: "second piece"})
			}
		}
		g, err := fhir.Map(rep, book.Assess(rep), fhir.Options{Key: []byte("HTEST-key-of-32-bytes-0123456789"), Sequence: 1})
		require.NoError(t, err)
		out = append(out, loose(t, fhir.Bundle(g))...)
	}
	examples, err := filepath.Glob("../../testdata/cases/*/want/bundle.json")
	require.NoError(t, err)
	require.NotEmpty(t, examples)
	for _, file := range examples {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		out = append(out, loose(t, raw)...)
	}
	return out
}

// loose takes the resources out of a Bundle. What referred to an entry refers
// to the type and id that it would have on a server.
func loose(t *testing.T, bundle []byte) []object {
	t.Helper()
	var b struct {
		Entry []struct {
			FullURL  string
			Resource object
		}
	}
	d := json.NewDecoder(bytes.NewReader(bundle))
	d.UseNumber()
	require.NoError(t, d.Decode(&b))
	var renames []string
	for _, e := range b.Entry {
		renames = append(renames, `"`+e.FullURL+`"`, `"`+e.Resource["resourceType"].(string)+strings.Replace(e.FullURL, "urn:uuid:", "/", 1)+`"`)
	}
	local := strings.NewReplacer(renames...)
	out := make([]object, len(b.Entry))
	for i, e := range b.Entry {
		d := json.NewDecoder(strings.NewReader(local.Replace(text(e.Resource))))
		d.UseNumber()
		require.NoError(t, d.Decode(&out[i]))
	}
	return out
}

// claimed is the short name of the profile that a resource claims.
func claimed(o object) string {
	meta, _ := o["meta"].(object)
	list, _ := meta["profile"].([]any)
	if len(list) == 0 {
		return ""
	}
	return strings.TrimPrefix(list[0].(string), "https://enbloc.example/fhir/StructureDefinition/enbloc-")
}

// verdicts is what HL7's validator said, per file: its errors as "id text".
func verdicts(t *testing.T, dir string) map[string][]string {
	t.Helper()
	definitions := t.TempDir()
	for _, a := range published.All(true) {
		require.NoError(t, os.WriteFile(filepath.Join(definitions, a.Type+"-"+a.ID+".json"), a.JSON, 0o600))
	}
	command := exec.CommandContext(t.Context(), "../../testdata/peers/validator/validate.sh", dir, "--ig", definitions)
	var out, said bytes.Buffer
	command.Stdout, command.Stderr = &out, &said
	_ = command.Run() // 1 is what the broken resources are for
	var summary struct {
		Files []struct {
			File   string
			Errors []struct{ ID, Text string }
		}
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &summary), said.String())
	files := map[string][]string{}
	for _, f := range summary.Files {
		files[filepath.Base(f.File)] = []string{}
		for _, e := range f.Errors {
			files[filepath.Base(f.File)] = append(files[filepath.Base(f.File)], e.ID+" "+e.Text)
		}
	}
	return files
}

// HL7's validator (org.hl7.fhir.core, written by others) passes each resource
// as enbloc writes it, and refuses it for the right reason once it is broken in
// one place. Every rule of the profiles is broken, and every kind of binding.
func TestRulesBite(t *testing.T) {
	t.Parallel()
	resources, dir := mapped(t), t.TempDir()
	put := func(name string, o object) {
		raw, err := json.Marshal(o)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), raw, 0o600))
	}
	for _, b := range breaks {
		at := slices.IndexFunc(resources, func(o object) bool { return claimed(o) == b.profile && (b.pick == nil || b.pick(o)) })
		require.GreaterOrEqual(t, at, 0, "no resource to break for %s", b.name)
		put(b.name+".good.json", resources[at])
		raw, err := json.Marshal(resources[at])
		require.NoError(t, err)
		var copied object
		require.NoError(t, json.Unmarshal(raw, &copied))
		b.spoil(copied)
		put(b.name+".bad.json", copied)
	}
	said := verdicts(t, dir)
	for _, b := range breaks {
		require.Empty(t, said[b.name+".good.json"], b.name)
		require.True(t, slices.ContainsFunc(said[b.name+".bad.json"], func(e string) bool { return strings.Contains(e, b.says) }),
			"%s: %q", b.name, said[b.name+".bad.json"])
	}
}

// Each rule that stands in a profile is broken by the table above.
func TestEveryRuleIsBroken(t *testing.T) {
	t.Parallel()
	broken := map[string]bool{}
	for _, b := range breaks {
		broken[b.name] = true
	}
	rules := map[string]bool{}
	for _, a := range published.All(false) {
		var profile struct {
			Differential struct {
				Element []struct{ Constraint []struct{ Key string } }
			}
		}
		require.NoError(t, json.Unmarshal(a.JSON, &profile))
		for _, e := range profile.Differential.Element {
			for _, c := range e.Constraint {
				rules[c.Key] = true
				require.True(t, broken[c.Key], "%s in %s", c.Key, a.ID)
			}
		}
	}
	require.Greater(t, len(rules), 15)
}
