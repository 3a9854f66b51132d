package main

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

// figures are measured beside the proof. The machine may be busy with other
// work, so they say what was seen and are no part of the verdict.
type figures struct {
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

type measure struct {
	mu       sync.Mutex
	accepts  []time.Duration
	resident []int
}

func (m *measure) accepted(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.accepts = append(m.accepts, d)
}

// watch reads the memory of the program until ctx ends.
func (m *measure) watch(ctx context.Context, p *program) {
	for pause(ctx, time.Second) == nil {
		if mb := p.resident(); mb > 0 {
			m.mu.Lock()
			m.resident = append(m.resident, mb)
			m.mu.Unlock()
		}
	}
}

func (m *measure) figures(cases int, took time.Duration) figures {
	m.mu.Lock()
	defer m.mu.Unlock()
	f := figures{CasesPerSecond: float64(cases) / took.Seconds()}
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

// resident is the child's resident memory in MB; 0 where it cannot be read.
func (p *program) resident() int {
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
