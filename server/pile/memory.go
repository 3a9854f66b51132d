package main

import (
	"context"
	"fmt"
	"time"

	"enbloc/server/internal/child"
)

// endurance is what one long run needs.
type endurance struct {
	Store     string        `json:"store"`
	Cases     int           `json:"cases"`
	Documents int           `json:"documents"`
	Minutes   float64       `json:"minutes"`
	Figures   child.Figures `json:"figures"`
	// LastToSecond is the resident memory of the last tenth over that of the
	// second: the first one fills caches. 1 is flat.
	LastToSecond float64 `json:"last_tenth_to_second"`
}

// String says it in a line.
func (e endurance) String() string {
	return fmt.Sprintf("%s, %d cases (%d documents) in %.0f min: %v MB resident, %d at most, last tenth %.2f times the second",
		e.Store, e.Cases, e.Documents, e.Minutes, e.Figures.ResidentMB, e.Figures.ResidentMax, e.LastToSecond)
}

// everyTenth is which cases have parts in a long run: they cost a delivery each.
func everyTenth(n uint64) bool { return n%10 == 0 }

// shortly is how many deliveries may be open in a long run: a department does not
// send for hours what is not delivered meanwhile.
const shortly = 300

// endure sends cases through one program that is never started anew, and reads
// its memory once a second.
func endure(ctx context.Context, c config) (endurance, error) {
	l, err := openLab(ctx, c)
	if err != nil {
		return endurance{}, err
	}
	defer l.close()
	p, dsn, err := l.program(ctx, "only")
	if err != nil {
		return endurance{}, err
	}
	if err := p.Start(ctx); err != nil {
		return endurance{}, err
	}
	defer p.Kill()
	began, m := time.Now(), &child.Measure{}
	watching, enough := context.WithCancel(ctx)
	defer enough()
	go m.Watch(watching, p)
	go l.sayHowFar(watching, p, c.Memory)
	if err := l.supply.feed(ctx, p, load{c.Memory, everyTenth, shortly}, m); err != nil {
		return endurance{}, l.explain(err, p)
	}
	enough()
	took := time.Since(began)
	e := endurance{Store: c.Store, Cases: c.Memory, Documents: m.Documents(), Minutes: took.Minutes(), Figures: m.Figures(c.Memory, took)}
	if mb := e.Figures.ResidentMB; len(mb) == 10 {
		e.LastToSecond = float64(mb[9]) / float64(mb[1])
	}
	if err := l.settle(ctx, p); err != nil {
		return e, err
	}
	return e, delivered(ctx, dsn)
}

// sayHowFar says it every few minutes.
func (l *lab) sayHowFar(ctx context.Context, p *child.Program, of int) {
	for child.Pause(ctx, 2*time.Minute) == nil {
		l.say("%d of %d cases sent, %d MB resident", l.supply.given.Load(), of, p.Resident())
	}
}
