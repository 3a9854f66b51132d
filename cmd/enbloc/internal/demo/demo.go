// Package demo plays the invented example cases through the real service.
//
// It starts the program as `enbloc serve` does, on a free loopback port with a
// store in a temporary folder, and, as no hospital's FHIR server is at hand, a
// practice receiver in the same process. Documents go in over HTTP. What it
// prints about the receiver it has counted there, not been told by the sender.
// Nothing is left on disk.
package demo

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/testdata/cases"
)

// Options say what to play and where to print.
type Options struct {
	// Page gets the text.
	Page *layout.Page
	// Progress is told what is being done; it may print where somebody looks.
	Progress func(format string, args ...any)
	// All plays every example case, not only the chosen ones.
	All bool
	// Stay keeps service and receiver open until the context ends.
	Stay bool
	// Listen and ReceiverListen are the addresses; empty takes free ports.
	Listen, ReceiverListen string
	// Log gets what the service logs; nil means silence.
	Log *slog.Logger
	// Version names the program in what it sends.
	Version string
}

// ErrNotDelivered says that something did not end as it should; the text on
// the page says what.
var ErrNotDelivered = errors.New("not everything was delivered as it should be; see above")

// chosen are the cases that show every organ, a positive margin, a late bleed,
// a withdrawal, missing findings and many findings without reading too long.
var chosen = []string{
	"02-gastric-esd-ecura-b-delayed-bleeding",
	"03-gastric-esd-c1-lateral-margin",
	"05-oesophagus-esd-80-percent-defect",
	"06-barrett-esd",
	"07-duodenum-emr-and-cold-snare",
	"09-colon-esd-pt1-900um",
	"10-rectum-esd-pt1-bd2",
	"12-withdrawn-wrong-patient",
	"14-missing-findings",
	"15-many-warnings",
}

// selection is the cases to play.
func selection(all bool) []cases.Case {
	every := cases.All()
	if all {
		return every
	}
	return slices.DeleteFunc(every, func(c cases.Case) bool { return !slices.Contains(chosen, c.Name) })
}

// Run plays the cases, sends everything a second time, and prints both.
func Run(ctx context.Context, o Options) (err error) {
	began := time.Now()
	if o.Progress == nil {
		o.Progress = func(string, ...any) {}
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	todo := selection(o.All)
	w, err := start(ctx, o, todo)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.stop()) }()
	introduce(o.Page, w, todo)

	all := make([]played, 0, len(todo))
	good := true
	for i, c := range todo {
		o.Progress("case %d of %d: %s", i+1, len(todo), c.Name)
		p, err := w.play(ctx, c)
		if err != nil {
			return fmt.Errorf("playing %s: %w", c.Name, err)
		}
		o.Progress("")
		p.show(o.Page, i+1)
		good = good && p.delivered()
		all = append(all, p)
	}
	o.Progress("sending everything once more")
	again, err := w.replay(ctx, all)
	if err != nil {
		return fmt.Errorf("sending again: %w", err)
	}
	o.Progress("")
	again.show(o.Page)
	good = good && again.unchanged()
	conclude(o.Page, good, time.Since(began))
	if o.Stay {
		invite(o.Page, w, all)
		<-ctx.Done()
	}
	if !good {
		return ErrNotDelivered
	}
	return o.Page.Err()
}
