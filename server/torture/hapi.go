package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"enbloc/mapping/report"
	"enbloc/server/internal/child"
	"enbloc/server/practice"
	"enbloc/server/target/fhirserver"
)

// hapi is a HAPI FHIR server that keeps its data in a file, and is killed and
// started again on them. What it says of its history when all is over is the
// journal.
type hapi struct {
	script, data string // the start script and the folder of the data
	kills        int
	say          func(string, ...any)
	address      string
	client       *fhirserver.Client

	mu     sync.Mutex
	pid    int
	killed int

	ended chan error

	// front stands between the program and the server.
	front   *practice.Spoiler
	faults  practice.Faults
	place   string // of the front
	serving *http.Server
}

func openHAPI(ctx context.Context, c config, folder string) (*hapi, error) {
	script, err := filepath.Abs(c.HAPI)
	if err != nil {
		return nil, fmt.Errorf("looking for the start script: %w", err)
	}
	h := &hapi{script: script, data: filepath.Join(folder, "hapi"), kills: c.HAPIKills, say: c.Say, ended: make(chan error, 1)}
	if err := h.start(ctx, "0"); err != nil {
		return nil, err
	}
	if err := h.stand(ctx, c); err != nil {
		h.kill()
		return nil, err
	}
	h.client, err = fhirserver.New(fhirserver.Config{BaseURL: h.address})
	return h, err
}

// start starts the server on its port and waits until it answers.
func (h *hapi) start(ctx context.Context, port string) error {
	command := exec.CommandContext(ctx, h.script, port, h.data) //nolint:gosec // the script of the caller
	var said bytes.Buffer
	command.Stderr = &said
	out, err := command.Output()
	words := strings.Fields(string(out)) // "BASE_URL PID"
	if err != nil || len(words) != 2 {
		return fmt.Errorf("starting HAPI: %w\n%s", err, said.String())
	}
	pid, err := strconv.Atoi(words[1])
	if err != nil {
		return fmt.Errorf("starting HAPI: it names no process: %w", err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.address, h.pid = words[0], pid
	return nil
}

// stand puts a front before the server, where answers go wrong.
func (h *hapi) stand(ctx context.Context, c config) error {
	u, err := url.Parse(h.address)
	if err != nil {
		return err
	}
	h.front, h.faults = practice.NewSpoiler(practice.Forward(u)), faultsOf(c)
	address, serving, err := serve(ctx, h.front)
	h.place, h.serving = address+u.Path, serving
	return err
}

// kill ends the server as a loss of power would.
func (h *hapi) kill() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.pid > 0 {
		_ = syscall.Kill(h.pid, syscall.SIGKILL)
		for syscall.Kill(h.pid, 0) == nil && !zombie(h.pid) { // its port must be free for the next
			time.Sleep(20 * time.Millisecond)
		}
	}
	h.pid = 0
}

// zombie reports whether a process is dead and only not yet buried by its parent.
func zombie(pid int) bool {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return true
	}
	_, rest, _ := strings.Cut(string(raw), ") ")
	return strings.HasPrefix(rest, "Z")
}

func (h *hapi) base() string { return h.place }

func (h *hapi) admit(ctx context.Context, id report.Identifier) error {
	patient := testLabel()
	patient["resourceType"] = "Patient"
	patient["identifier"] = []any{map[string]any{"system": id.System, "value": id.Value}}
	body, err := json.Marshal(patient)
	if err != nil {
		return err
	}
	if a := h.client.Create(ctx, "Patient", body, ""); a.Err != nil || a.Status != http.StatusCreated {
		return fmt.Errorf("making a patient known: answered %d: %w", a.Status, a.Err)
	}
	return nil
}

// begin kills the server each time that one more share of the rows is settled,
// so that transactions are under way.
func (h *hapi) begin(ctx context.Context, f fleet) error {
	u, err := url.Parse(h.address)
	if err != nil {
		return err
	}
	go func() {
		most := 0
		for h.killed < h.kills {
			if err := child.Pause(ctx, 50*time.Millisecond); err != nil {
				h.ended <- err
				return
			}
			n, err := f.Open(ctx)
			if err != nil {
				continue // the program was killed just now
			}
			if most = max(most, n); n == 0 || n > most*(h.kills-h.killed)/(h.kills+1) {
				continue
			}
			h.kill()
			h.mu.Lock()
			h.killed++
			h.mu.Unlock()
			h.say("killed HAPI with %d rows open", n)
			if err := h.start(ctx, u.Port()); err != nil {
				h.ended <- err
				return
			}
		}
		h.ended <- nil
	}()
	return h.front.Faults(h.faults)
}

// journal pages through the history of every type that the program writes
// (http://hl7.org/fhir/R4/http.html#history).
func (h *hapi) journal(ctx context.Context) ([]practice.Write, error) {
	select {
	case err := <-h.ended:
		if err != nil {
			return nil, err
		}
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	h.front.Settle()
	var all []practice.Write
	for _, kind := range practice.Types() {
		some, err := h.history(ctx, kind)
		if err != nil {
			return nil, fmt.Errorf("reading the history of %s: %w", kind, err)
		}
		all = append(all, some...)
	}
	slices.SortStableFunc(all, func(a, b practice.Write) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Version, b.Version))
	})
	return all, nil
}

func (h *hapi) history(ctx context.Context, kind string) ([]practice.Write, error) {
	var all []practice.Write
	for next := h.address + "/" + kind + "/_history?_count=200"; next != ""; {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, next, nil)
		if err != nil {
			return nil, err
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			return nil, err
		}
		var page struct {
			Link  []struct{ Relation, URL string }
			Entry []struct{ Resource json.RawMessage }
		}
		err = json.NewDecoder(res.Body).Decode(&page)
		_ = res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			return nil, errors.Join(fmt.Errorf("answered %d", res.StatusCode), err)
		}
		for _, e := range page.Entry {
			w, err := asWrite(kind, e.Resource)
			if err != nil {
				return nil, err
			}
			all = append(all, w)
		}
		next = ""
		for _, l := range page.Link {
			if l.Relation == "next" {
				next = l.URL
			}
		}
	}
	return all, nil
}

// asWrite is one version as a line of a journal.
func asWrite(kind string, body json.RawMessage) (practice.Write, error) {
	var r struct {
		ID   string
		Meta struct {
			VersionID   string
			LastUpdated time.Time
		}
	}
	if err := json.Unmarshal(body, &r); err != nil {
		return practice.Write{}, err
	}
	version, err := strconv.Atoi(r.Meta.VersionID)
	return practice.Write{Type: kind, ID: r.ID, Version: version, At: r.Meta.LastUpdated, Body: body}, err
}

func (h *hapi) count(v *verdict) {
	h.mu.Lock()
	defer h.mu.Unlock()
	v.HAPIKills = h.killed
	v.countFaults(h.front.FaultsDrawn())
}

func (h *hapi) close() {
	_ = h.serving.Close()
	h.kill()
}
