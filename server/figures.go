package server

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"enbloc/mapping/indicator"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// figures keeps what was counted until the store changes, since counting reads
// and assesses every case. It counts one question at a time, whoever asks how
// often: callers of the same question share one count, and a caller that
// cannot wait any longer leaves a count that goes on and answers the next call.
type figures struct {
	mark    func(context.Context) (store.Mark, error)
	now     func() time.Time
	ending  context.Context
	end     context.CancelFunc
	flights singleflight.Group
	running sync.WaitGroup
	turn    chan struct{}

	mu      sync.Mutex
	waiting int
	kept    []figure // the last used one first
}

// figure is one answer.
type figure struct {
	question string
	mark     store.Mark
	report   indicator.Report
	counted  time.Time
	took     time.Duration
}

const (
	// keptFigures is how many answers are kept, some hundred kB each at most.
	keptFigures = 16
	// waitingFigures is how many questions may wait for their turn.
	waitingFigures = 8
	// slowCount is when an answer is kept beyond a change, see [figure.good].
	slowCount = 5 * time.Second
)

// counting counts what a question asks for.
type counting func(context.Context) (indicator.Report, error)

func newFigures(mark func(context.Context) (store.Mark, error)) *figures {
	f := &figures{mark: mark, now: time.Now, turn: make(chan struct{}, 1)}
	f.ending, f.end = context.WithCancel(context.Background())
	return f
}

// stop ends what is being counted and waits for it.
func (f *figures) stop() {
	f.mu.Lock()
	f.end()
	f.mu.Unlock()
	f.running.Wait()
}

// good reports whether a kept answer still answers. Where counting takes long
// and reports come in all the time, no count would ever be recent enough: an
// answer that took longer than slowCount may be as old as it took.
func (k figure) good(mark store.Mark, now time.Time) bool {
	return k.mark == mark || k.took > slowCount && now.Sub(k.counted) < k.took
}

// answer is the kept answer to the question, or a new one.
func (f *figures) answer(ctx context.Context, question string, count counting) (indicator.Report, error) {
	mark, err := f.mark(ctx)
	if err != nil {
		return indicator.Report{}, err
	}
	if k, ok := f.find(question, mark); ok {
		return k.report, nil
	}
	// The mark is part of the name: who has seen a report accepted must not
	// share a count that began before it.
	result := f.flights.DoChan(fmt.Sprint(question, mark), func() (any, error) { return f.fly(question, count) })
	select {
	case r := <-result:
		report, _ := r.Val.(indicator.Report)
		return report, r.Err
	case <-ctx.Done():
		return indicator.Report{}, laterFigures("Counting takes longer than one call may last; it goes on, and the next call gets what is counted by then.")
	}
}

// fly counts when its turn has come.
func (f *figures) fly(question string, count counting) (indicator.Report, error) {
	if !f.enter() {
		return indicator.Report{}, laterFigures("Too many different figures are being counted.")
	}
	defer f.leave()
	select {
	case f.turn <- struct{}{}:
		defer func() { <-f.turn }()
	case <-f.ending.Done():
		return indicator.Report{}, laterFigures("The service is stopping.")
	}
	// Before the cases are read: what comes in meanwhile makes the answer look
	// older than it is, never newer.
	mark, err := f.mark(f.ending)
	if err != nil {
		return indicator.Report{}, err
	}
	if k, ok := f.find(question, mark); ok {
		return k.report, nil
	}
	began := f.now()
	report, err := count(f.ending)
	if err == nil {
		f.keep(figure{question, mark, report, f.now(), f.now().Sub(began)})
	}
	return report, err
}

func (f *figures) find(question string, mark store.Mark) (figure, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	i := slices.IndexFunc(f.kept, func(k figure) bool { return k.question == question && k.good(mark, f.now()) })
	if i < 0 {
		return figure{}, false
	}
	found := f.kept[i]
	f.kept = slices.Insert(slices.Delete(f.kept, i, i+1), 0, found)
	return found, true
}

func (f *figures) keep(k figure) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.kept = slices.DeleteFunc(f.kept, func(old figure) bool { return old.question == k.question })
	f.kept = slices.Insert(f.kept, 0, k)
	f.kept = f.kept[:min(len(f.kept), keptFigures)]
}

// enter takes a place among the waiting.
func (f *figures) enter() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.waiting >= waitingFigures || f.ending.Err() != nil {
		return false
	}
	f.waiting++
	f.running.Add(1)
	return true
}

func (f *figures) leave() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.waiting--
	f.running.Done()
}

func laterFigures(why string) error {
	return &fault.Error{Kind: fault.Unavailable, Message: why + " Ask again later.", RetryAfter: 10 * time.Second}
}
