package child

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Figures are measured beside the proof. The machine may be busy with other
// work, so they say what was seen and are no part of the verdict.
type Figures struct {
	// AcceptP50 and AcceptP99 are milliseconds from sending a document to its
	// 202, without the tries that a kill broke.
	AcceptP50 float64 `json:"accept_p50_ms"`
	AcceptP99 float64 `json:"accept_p99_ms"`
	// CasesPerSecond is over the whole run, the kills and waits included.
	CasesPerSecond float64 `json:"cases_per_second"`
	// ResidentMB are the program's resident memory in ten readings, evenly spread
	// over the run, and the highest of all readings. A killed program begins anew.
	ResidentMB  []int `json:"resident_mb"`
	ResidentMax int   `json:"resident_mb_max"`
}

// Measure collects what the program does and needs. Its zero value is ready; it
// is safe for concurrent use.
type Measure struct {
	mu       sync.Mutex
	accepts  []time.Duration
	resident []int
}

// Accepted notes how long a document took to its 202.
func (m *Measure) Accepted(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.accepts = append(m.accepts, d)
}

// Documents is how many were accepted.
func (m *Measure) Documents() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return len(m.accepts)
}

// Watch reads the memory of what runs, at once and every second, until ctx ends.
func (m *Measure) Watch(ctx context.Context, p interface{ Resident() int }) {
	for {
		if mb := p.Resident(); mb > 0 {
			m.mu.Lock()
			m.resident = append(m.resident, mb)
			m.mu.Unlock()
		}
		if Pause(ctx, time.Second) != nil {
			return
		}
	}
}

// Figures are those of cases that took so long.
func (m *Measure) Figures(cases int, took time.Duration) Figures {
	m.mu.Lock()
	defer m.mu.Unlock()
	f := Figures{CasesPerSecond: float64(cases) / took.Seconds()}
	slices.Sort(m.accepts)
	if n := len(m.accepts); n > 0 {
		f.AcceptP50, f.AcceptP99 = millis(m.accepts[n/2]), millis(m.accepts[n*99/100])
	}
	if n := len(m.resident); n > 0 {
		f.ResidentMax = slices.Max(m.resident)
		for i := range min(n, 10) {
			f.ResidentMB = append(f.ResidentMB, m.resident[(2*i+1)*n/(2*min(n, 10))])
		}
	}
	return f
}

func millis(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// Resident is the child's resident memory in MB; 0 where it cannot be read.
func (p *Program) Resident() int {
	p.mu.Lock()
	child := p.child
	p.mu.Unlock()
	if child == nil {
		return 0
	}
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", child.Process.Pid))
	if err != nil {
		return 0 // gone, or no Linux
	}
	_, rest, _ := strings.Cut(string(raw), "VmRSS:")
	line, _, _ := strings.Cut(strings.TrimSpace(rest), " ")
	kb, err := strconv.Atoi(line)
	if err != nil {
		return 0
	}
	return kb / 1024
}

// Pause waits, or returns the error of ctx when that ends first.
func Pause(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
