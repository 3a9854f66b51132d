package fhir_test

import (
	"encoding/json"
	"testing"

	gfm "github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// The hand-written frame says what the library's Bundle would say.
func TestBundleEqualsTheLibrarys(t *testing.T) {
	t.Parallel()
	g := mapped(t, withHistology(t, report.HistologyFinal))
	bundle := gfm.Bundle{Type: gfm.BundleTypeTransaction}
	for _, r := range g.Resources {
		fullURL, condition := r.Reference(), r.Condition()
		bundle.Entry = append(bundle.Entry, gfm.BundleEntry{FullUrl: &fullURL, Resource: r.Body,
			Request: &gfm.BundleEntryRequest{Method: gfm.HTTPVerbPOST, Url: r.Type, IfNoneExist: &condition}})
	}
	want, err := json.Marshal(bundle)
	require.NoError(t, err)
	require.JSONEq(t, string(want), string(fhir.Bundle(g)))
}

// No condition is empty and none stands twice: an empty one would create
// without condition, a doubled one would lose an entry of the answer.
func TestBundleConditions(t *testing.T) {
	t.Parallel()
	var b struct {
		Entry []struct {
			FullURL string `json:"fullUrl"`
			Request struct{ Method, URL, IfNoneExist string }
		}
	}
	require.NoError(t, json.Unmarshal(fhir.Bundle(mapped(t, gastricESD(t))), &b))
	seen := map[string]bool{}
	for _, e := range b.Entry {
		require.Equal(t, "POST", e.Request.Method)
		require.Regexp(t, `^(identifier|_tag)=https://enbloc\.example/fhir/sid/role-key\|k[0-9a-f]{40}$`, e.Request.IfNoneExist)
		require.Regexp(t, `^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`, e.FullURL)
		require.False(t, seen[e.Request.URL+e.Request.IfNoneExist])
		seen[e.Request.URL+e.Request.IfNoneExist] = true
	}
}

// structs reads the Observations of a case back into the library's structs,
// each with the status that the guard wants as an argument.
func structs(tb testing.TB) (list []model.Observation, statuses []string, g graph.Graph) {
	tb.Helper()
	rep := withHistology(tb, report.HistologyFinal)
	g, err := fhir.Map(rep, assess.DefaultBook().Assess(rep), options())
	require.NoError(tb, err)
	kept := g.Resources[:0:0]
	for _, r := range g.Resources {
		if r.Type != "Observation" {
			continue
		}
		o, err := gfm.UnmarshalObservation(r.Body)
		require.NoError(tb, err)
		list, statuses, kept = append(list, o), append(statuses, o.Status.Code()), append(kept, r)
	}
	g.Resources = kept
	return list, statuses, g
}

// naive encodes as the library offers: each resource by json.Marshal into
// entry.resource, then the Bundle by json.Marshal.
func naive(list []model.Observation, g graph.Graph) ([]byte, error) {
	bundle := gfm.Bundle{Type: gfm.BundleTypeTransaction}
	for i := range list {
		raw, err := json.Marshal(list[i])
		if err != nil {
			return nil, err
		}
		r := g.Resources[i]
		fullURL, condition := r.Reference(), r.Condition()
		bundle.Entry = append(bundle.Entry, gfm.BundleEntry{FullUrl: &fullURL, Resource: raw,
			Request: &gfm.BundleEntryRequest{Method: gfm.HTTPVerbPOST, Url: r.Type, IfNoneExist: &condition}})
	}
	return json.Marshal(bundle)
}

// guarded encodes the same structs through the guard, with all its checks, and
// frames them.
func guarded(list []model.Observation, statuses []string, g graph.Graph) ([]byte, error) {
	for i := range list {
		o := list[i]
		o.Status = 0 // the guard sets it
		raw, err := model.Encode(&o, model.Status(statuses[i]), nil)
		if err != nil {
			return nil, err
		}
		g.Resources[i].Body = raw
	}
	return fhir.Bundle(g), nil
}

// Both ways say the same.
func TestNaiveAndGuardedAgree(t *testing.T) {
	t.Parallel()
	list, statuses, g := structs(t)
	want, err := naive(list, g)
	require.NoError(t, err)
	got, err := guarded(list, statuses, g)
	require.NoError(t, err)
	require.JSONEq(t, string(want), string(got))
}

// BenchmarkBundle compares encoding the same structs: naively through the
// library, and through the guard with a hand-written frame. The aim is a
// quarter of the time or less.
func BenchmarkBundle(b *testing.B) {
	list, statuses, g := structs(b)
	b.Run("naive", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := naive(list, g); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("guarded", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := guarded(list, statuses, g); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("frame", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			fhir.Bundle(g)
		}
	})
}
