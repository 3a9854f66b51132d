package main

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"

	"enbloc/server/internal/child"
)

// fleet is the program as often as a run asks: processes side by side on one
// store, each with a folder of its own.
type fleet []*replica

// replica is one of them, with what it has done so far.
type replica struct {
	*child.Program
	accepted  atomic.Int64 // documents
	delivered int          // rows
}

func newFleet(ctx context.Context, n int, o child.Options) (fleet, error) {
	if o.Binary == "" { // built once for all
		o.Binary = filepath.Join(o.Folder, "enbloc")
		if err := child.Build(ctx, o.Binary); err != nil {
			return nil, err
		}
	}
	var all fleet
	for i := range n {
		one := o
		one.Folder = filepath.Join(o.Folder, "replica"+strconv.Itoa(i))
		if err := os.Mkdir(one.Folder, 0o700); err != nil {
			return nil, fmt.Errorf("making folder: %w", err)
		}
		p, err := child.New(ctx, one)
		if err != nil {
			return nil, err
		}
		all = append(all, &replica{Program: p})
	}
	return all, nil
}

// start starts one after the other: the first makes the tables.
func (f fleet) start(ctx context.Context) error {
	for _, r := range f {
		if err := r.Start(ctx); err != nil {
			return err
		}
	}
	return nil
}

// kill kills all that live.
func (f fleet) kill() {
	for _, r := range f {
		r.Kill()
	}
}

// stop counts what is not counted yet and ends all in good order.
func (f fleet) stop(ctx context.Context) error {
	for _, r := range f {
		r.count(ctx)
		if err := r.Stop(ctx); err != nil {
			return err
		}
	}
	return nil
}

// count adds what it has delivered since its start; what it delivers from here to
// its kill is not counted.
func (r *replica) count(ctx context.Context) {
	if n, err := r.Delivered(ctx); err == nil {
		r.delivered += n
	}
}

// Open is how many rows are open, by the first that lives: all see the same.
func (f fleet) Open(ctx context.Context) (n int, err error) {
	for _, r := range f {
		if n, err = r.Open(ctx); err == nil {
			return n, nil
		}
	}
	return 0, err
}

// Resident is that of the replica that needs most.
func (f fleet) Resident() int {
	most := 0
	for _, r := range f {
		most = max(most, r.Resident())
	}
	return most
}

// lastWords are those of each.
func (f fleet) lastWords() string {
	var all strings.Builder
	for i, r := range f {
		fmt.Fprintf(&all, "replica %d: %s\n", i, r.LastWords())
	}
	return all.String()
}

// door is how one sender comes in: by each replica in turn, as behind something
// that spreads the load, so that the documents of a case, and what is sent once
// more, reach different ones.
type door struct {
	fleet fleet
	next  int
}

func (d *door) ask(ctx context.Context, doc child.Document) (int, []byte, error) {
	r := d.fleet[d.next%len(d.fleet)]
	d.next++
	status, body, err := r.Ask(ctx, http.MethodPost, doc.Path, doc.Body)
	if err == nil && status == http.StatusAccepted {
		r.accepted.Add(1)
	}
	return status, body, err
}
