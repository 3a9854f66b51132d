package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"

	"enbloc/mapping/report"
	"enbloc/server/delivery"
	"enbloc/server/practice"
)

// hospital is where the records go, with what the checker asks of it.
type hospital interface {
	base() string
	// admit makes a patient known.
	admit(ctx context.Context, id report.Identifier) error
	// begin is called when sending begins; what goes wrong goes wrong from now on.
	begin(ctx context.Context, f fleet) error
	// journal is every version of everything that stands or stood there, in the
	// order in which it was written. It is called when nothing is under way.
	journal(ctx context.Context) ([]practice.Write, error)
	// count notes what went wrong.
	count(v *verdict)
	close()
}

// open starts the hospital that the run asks for.
func open(ctx context.Context, c config, folder string) (hospital, error) {
	if c.HAPI != "" {
		return openHAPI(ctx, c, folder)
	}
	return openPractice(ctx, c)
}

// shapes are the receivers that can be written by a rung and by none better; the
// zero shape can be written by the first two.
var shapes = map[int]practice.Shape{
	delivery.RungClientIDs:         {},
	delivery.RungConditionalCreate: {},
	delivery.RungConditionalUpdate: {NoClientIDs: true, NoConditionalCreate: true, ConditionalUpdate: true},
	delivery.RungSingle:            {NoTransaction: true},
}

// slowness of a slow answer: only a little, so that a run ends some day.
const slowness = 200 * time.Millisecond

// practising is the practice receiver in this process. Its journal is its own.
type practising struct {
	*practice.Receiver
	address string
	faults  practice.Faults
	server  *http.Server
}

func openPractice(ctx context.Context, c config) (*practising, error) {
	h := &practising{Receiver: practice.New("/fhir"), faults: faultsOf(c)}
	h.Shape(shapes[c.Rung])
	address, server, err := serve(ctx, h.Receiver)
	h.address, h.server = address+"/fhir", server
	return h, err
}

// faultsOf are the faults of a run, spread over all kinds. A write that is done
// late is what two rungs cannot bear, and say so: see [delivery.Rungs].
func faultsOf(c config) practice.Faults {
	var but []practice.FaultKind
	if c.Rung == delivery.RungClientIDs || c.Rung == delivery.RungConditionalUpdate {
		but = append(but, practice.FaultLate)
	}
	f := practice.EvenFaults(c.Seed, c.Faults, but...)
	f.Delay = slowness
	return f
}

// serve serves on an address of its own until the server is closed.
func serve(ctx context.Context, handler http.Handler) (address string, server *http.Server, err error) {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return "", nil, fmt.Errorf("opening receiver: %w", err)
	}
	server = &http.Server{Handler: handler, ReadHeaderTimeout: time.Minute}
	go server.Serve(listener) //nolint:errcheck // its end is asked for
	return "http://" + listener.Addr().String(), server, nil
}

func (h *practising) base() string { return h.address }

func (h *practising) admit(_ context.Context, id report.Identifier) error {
	_, err := h.Seed("Patient", id.System, id.Value, testLabel())
	return err
}

func (h *practising) begin(context.Context, fleet) error { return h.Faults(h.faults) }

func (h *practising) journal(context.Context) ([]practice.Write, error) {
	h.Settle()
	return h.Journal(), nil
}

func (h *practising) count(v *verdict) {
	v.countFaults(h.FaultsDrawn())
}

func (h *practising) close() { _ = h.server.Close() }
