package delivery_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/practice"
)

// likeA returns the shape of a kind of server.
func likeA(t testing.TB, name string) practice.Shape {
	t.Helper()
	i := slices.IndexFunc(practice.Behaviours(), func(b practice.Behaviour) bool { return b.Name == name })
	require.GreaterOrEqual(t, i, 0, name)
	return practice.Behaviours()[i].Shape
}

// conflicts counts the answers of a bench that are 409.
func (b *bench) conflicts() *atomic.Int64 {
	var n atomic.Int64
	next := b.faults.next
	b.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		rec := httptest.NewRecorder()
		next.ServeHTTP(rec, r)
		if rec.Code == http.StatusConflict {
			n.Add(1)
		}
		for k, v := range rec.Header() {
			w.Header()[k] = v
		}
		w.WriteHeader(rec.Code)
		_, _ = w.Write(rec.Body.Bytes())
	})
	return &n
}

// atomicRungs are those on which a lost race is told. On the rung of conditional
// updates a server that races leaves doubles, which is why it is never chosen
// unasked.
var atomicRungs = map[string]func(*delivery.Target){
	"by default":         func(*delivery.Target) {},
	"1":                  func(t *delivery.Target) { t.Rung = delivery.RungClientIDs },
	"4 with a condition": func(t *delivery.Target) { t.Rung = delivery.RungSingle },
}

// arrives delivers as a worker does: again after each failure, in doubt where the
// outcome is.
func arrives(t *testing.T, e *delivery.Engine, g graph.Graph) {
	_, err := e.Deliver(context.Background(), g)
	for n := 1; err != nil; n++ {
		var f *delivery.Failure
		if !errors.As(err, &f) || n > 50 {
			t.Errorf("never arrived: %v", err)
			return
		}
		time.Sleep(time.Duration(n) * time.Millisecond)
		if f.Uncertain {
			_, err = delivery.DeliverInDoubt(e, context.Background(), g)
		} else {
			_, err = e.Deliver(context.Background(), g)
		}
	}
}

// TestCasesThatRaceForWhatTheyShareAllArrive has several senders bring cases
// through their states that all name one device, to a server that lets who meets
// another lose.
func TestCasesThatRaceForWhatTheyShareAllArrive(t *testing.T) {
	t.Parallel()
	for name, change := range atomicRungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			lost := int64(0)
			for seed := uint64(1); seed <= 3 || lost < 3; seed++ {
				if seed == 30 {
					requireMet(t, name)
					break
				}
				b := newBench(t)
				shape := likeA(t, "racy")
				shape.Seed = seed
				b.Shape(shape)
				conflicts := b.conflicts()
				var all sync.WaitGroup
				for n := range 8 {
					e := b.engine(t, change)
					all.Go(func() {
						for _, s := range states(fmt.Sprint("race ", n), n+1) {
							arrives(t, e, s.graph())
						}
					})
				}
				all.Wait()
				stands := b.byKey(t)
				for n := range 8 {
					last := states(fmt.Sprint("race ", n), n+1)[2]
					for _, r := range last.graph().Resources {
						require.Contains(t, slices.Collect(maps.Keys(stands)), r.Key, r.Role)
						if r.Type == "DiagnosticReport" {
							require.Equal(t, "corrected", stands[r.Key]["status"])
						}
					}
				}
				lost += conflicts.Load()
			}
		})
	}
}

// TestTwoThatSendOneCaseAtOnceMakeItOnce is what happens when a sender that was
// taken for dead is not: neither knows of the other's ledger.
func TestTwoThatSendOneCaseAtOnceMakeItOnce(t *testing.T) {
	t.Parallel()
	for name, change := range atomicRungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(likeA(t, "racy"))
			lost := b.conflicts()
			for round := 0; round < 4 || lost.Load() < 3; round++ {
				if round == 40 {
					requireMet(t, name)
					break
				}
				g := scene{name: fmt.Sprint("two ", round), sequence: 1, event: true}.graph()
				var both sync.WaitGroup
				for range 2 {
					e := b.engine(t, change)
					both.Go(func() { arrives(t, e, g) })
				}
				both.Wait()
				stands := slices.Collect(maps.Keys(b.byKey(t)))
				for _, r := range g.Resources {
					require.Contains(t, stands, r.Key, r.Role)
				}
			}
		})
	}
}

// TestWhatAnotherCaseMayHaveSentIsLookedForAnew: two cases bring the same new
// device, both find that it is not there, and the first one's write is done
// without an answer. Where no condition is relied on, the second must look again.
func TestWhatAnotherCaseMayHaveSentIsLookedForAnew(t *testing.T) {
	t.Parallel()
	eachRungThatLooks(t, func(t *testing.T, b *bench, change func(*delivery.Target)) {
		e := b.engine(t, change)
		looks := func(r *http.Request) bool { return strings.Contains(r.URL.Path, "/Provenance") && !isWrite(r) } // the last of a look
		b.bringOneDevice(t, e, e, looks, 0)
	})
}

// eachRungThatLooks runs a test on each of the lower rungs on which no condition of
// the target is relied on alone.
func eachRungThatLooks(t *testing.T, test func(t *testing.T, b *bench, change func(*delivery.Target))) {
	for name, c := range lowerRungs {
		if name == "2 in parts" {
			continue // the target's condition is what looks
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(c.shape)
			test(t, b, c.target)
		})
	}
}

// bringOneDevice has two senders bring a case each with the same new device, and
// requires that it is written once. The first one's write is done without an
// answer, and held until the second one has made a request that is wanted, at
// most for patience; 0 is without end.
func (b *bench) bringOneDevice(t *testing.T, first, second *delivery.Engine, wants func(*http.Request) bool, patience time.Duration) {
	t.Helper()
	held, met := make(chan struct{}), make(chan struct{})
	b.faults.plan(isWrite, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		close(held)
		var over <-chan time.Time
		if patience > 0 {
			over = time.After(patience)
		}
		select {
		case <-met:
		case <-over:
		}
		resetAfter(next, w, r)
	})
	var both sync.WaitGroup
	both.Go(func() { arrives(t, first, scene{name: "first", sequence: 1}.graph()) })
	<-held
	b.faults.plan(wants, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(w, r)
		close(met)
	})
	both.Go(func() { arrives(t, second, scene{name: "second", sequence: 1, patient: "HTEST-PAT-0002"}.graph()) })
	both.Wait()
	b.byKey(t)
	devices := b.Resources("Device")
	require.Len(t, devices, 1)
	require.Equal(t, "1", devices[0]["meta"].(map[string]any)["versionId"], "nothing is written twice")
}

// TestALateSearchMakesNoDouble loses the answer of every write in turn before a
// server whose searches are answered from memory: who then asks what stands must
// not be told what did not. Without the word that asks anew it doubles, which is
// what makes this a test.
func TestALateSearchMakesNoDouble(t *testing.T) {
	t.Parallel()
	rungs := map[string]func(*delivery.Target){"4 after a search": func(t *delivery.Target) { t.Rung, t.FirstWrite = delivery.RungSingle, delivery.AfterSearch }}
	for name, change := range atomicRungs {
		rungs[name] = change
	}
	for name, change := range rungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			shape := likeA(t, "late-search")
			shape.IgnoresConditions = name == "4 after a search"
			b.Shape(shape)
			lateThrough(t, b, change)
			b.byKey(t)
			require.Equal(t, "corrected", b.Resources("DiagnosticReport")[0]["status"])
		})
	}
	t.Run("not asked anew", func(t *testing.T) {
		t.Parallel()
		b := newBench(t)
		shape := likeA(t, "late-search")
		shape.IgnoresConditions = true
		b.Shape(shape)
		next := b.faults.next
		b.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			r.Header.Del("Cache-Control")
			next.ServeHTTP(w, r)
		})
		g := scene{name: "late", sequence: 1}.graph()
		e := b.engine(t, rungs["4 after a search"])
		b.faults.plan(isWrite, resetAfter)
		_, err := e.Deliver(context.Background(), g)
		require.Error(t, err)
		_, _ = delivery.DeliverInDoubt(b.engine(t, rungs["4 after a search"]), context.Background(), g) // what it says of the double is another matter
		require.Greater(t, len(b.Resources("Device")), 1, "the receiver is not late")
	})
}

// lateThrough brings a case through its states and loses each write's answer once.
func lateThrough(t *testing.T, b *bench, change func(*delivery.Target)) {
	e := delivery.NewEngine(b.target(t, change), delivery.EngineOptions{Void: voided, Ledger: delivery.NewMemoryLedger()})
	for sequence, status := range []string{"final", "amended", "corrected"} {
		g := circular("late", sequence+1, status)
		for n := 1; ; n++ {
			writes := 0
			b.faults.plan(func(r *http.Request) bool {
				if isWrite(r) {
					writes++
				}
				return isWrite(r) && writes == n%3+1
			}, resetAfter)
			_, err := delivery.DeliverInDoubt(e, context.Background(), g)
			if err == nil {
				break
			}
			require.True(t, requireFailure(t, err).Uncertain, "%v", err)
			require.Less(t, n, 40)
		}
	}
	require.Len(t, b.byKey(t), 7)
}

// requireMet: single requests are short, so on a busy machine two may never meet,
// and nothing is shown; transactions always do.
func requireMet(t *testing.T, rung string) {
	t.Helper()
	require.True(t, strings.HasPrefix(rung, "4"), "no race was ever lost")
	t.Log("no race was lost: nothing is shown here")
}
