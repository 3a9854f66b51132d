// Command speed measures the export beside plainly writing the same rows, in one
// run, and shows the memory as it goes.
//
//	go run ./testdata/peers/tables/speed DIR [CASES]
//
// The cases are a few hundred invented ones, merged and assessed beforehand,
// under a new key each time: reading the store and asking the rules would cost
// both sides the same. Plain writing takes rows that are laid flat already, into
// one CSV and one Parquet file for each table, without parts, syncing or marker.
package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"enbloc/mapping/assess"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
	"enbloc/server/export"
)

const different = 400

// endless hands out the same few cases under new keys.
type endless struct {
	cases []table.Case
	left  int
	given int
}

func (e *endless) Page(_ context.Context, _ string, limit int) ([]table.Case, string, error) {
	var out []table.Case
	for len(out) < limit && e.given < e.left {
		c := e.cases[e.given%different]
		e.given++
		c.Key = fmt.Sprintf("c%040x", e.given)
		out = append(out, c)
	}
	return out, strconv.Itoa(e.given), nil
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run() error {
	if len(os.Args) < 2 {
		return errors.New("usage: speed DIR [CASES]")
	}
	n := 100_000
	if len(os.Args) > 2 {
		var err error
		if n, err = strconv.Atoi(os.Args[2]); err != nil {
			return err
		}
	}
	var cases []table.Case
	book := assess.DefaultBook()
	for c := range sample.Cohort(different, 6) {
		merged := c.Merged()
		cases = append(cases, table.Case{Sequence: 1, Report: merged, Results: book.Assess(merged)})
	}
	aside := filepath.Join(os.Args[1], "plain")
	rows, plain, err := plainly(aside, cases, n)
	if err = errors.Join(err, os.RemoveAll(aside)); err != nil {
		return err
	}
	fmt.Printf("plain writing: %d cases, %d rows, %s\n", n, rows, plain)
	runtime.GC()
	began := now()
	summary, err := export.Run(context.Background(), export.Options{Source: &endless{cases: cases, left: n}, Dir: filepath.Join(os.Args[1], "export"),
		Formats: export.Formats, Progress: watch(n)})
	if err != nil {
		return err
	}
	took := now().minus(began)
	fmt.Printf("export: %d cases in %d parts, %s, %.0f rows/s\n", summary.Cases, summary.Parts, took, float64(rows)/took.wall.Seconds())
	fmt.Printf("export runs at %.0f%% of the speed of plain writing by the clock, %.0f%% by processor time\n",
		100*plain.wall.Seconds()/took.wall.Seconds(), 100*plain.processor.Seconds()/took.processor.Seconds())
	return nil
}

// instant is a moment on the clock and in the processor time of this process;
// on a machine that does other work, too, the second is the fairer one.
type instant struct{ wall, processor time.Duration }

var start = time.Now()

func now() instant {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return instant{wall: time.Since(start)}
	}
	return instant{time.Since(start), time.Duration(u.Utime.Nano() + u.Stime.Nano())}
}

func (i instant) minus(from instant) instant {
	return instant{i.wall - from.wall, i.processor - from.processor}
}

func (i instant) String() string {
	return fmt.Sprintf("%.1f s (%.1f s of processor)", i.wall.Seconds(), i.processor.Seconds())
}

// watch prints the memory at every tenth.
func watch(n int) func(int) {
	next := n / 10
	return func(done int) {
		if done < next {
			return
		}
		next += n / 10
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		fmt.Printf("  %9d cases: heap in use %4d MB, resident %4d MB\n", done, m.HeapInuse>>20, resident()>>10)
	}
}

// resident is VmRSS in kB (proc(5)).
func resident() int {
	raw, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.SplitSeq(string(raw), "\n") {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kb, _ := strconv.Atoi(strings.TrimSuffix(strings.TrimSpace(rest), " kB"))
			return kb
		}
	}
	return 0
}

// plainly writes rows that are there already, and times the writing alone.
func plainly(dir string, cases []table.Case, n int) (int, instant, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return 0, instant{}, err
	}
	keys := make([]table.Value, n)
	for i := range keys {
		keys[i] = table.Deliveries.Rows(table.Case{Key: fmt.Sprintf("c%040x", i+1), Deliveries: make([]table.Delivery, 1)})[0][0]
	}
	written, took := 0, instant{}
	for _, t := range table.All() {
		ready := make([][][]table.Value, len(cases))
		for i, c := range cases {
			ready[i] = t.Rows(c)
		}
		began := now()
		count, err := plainTable(dir, t, ready, keys)
		if err != nil {
			return 0, instant{}, err
		}
		spent := now().minus(began)
		took = instant{took.wall + spent.wall, took.processor + spent.processor}
		written += count
	}
	return written, took, nil
}

func plainTable(dir string, t *table.Table, ready [][][]table.Value, keys []table.Value) (int, error) {
	text, err := os.Create(filepath.Join(dir, t.Name+".csv"))
	if err != nil {
		return 0, err
	}
	columns, err := os.Create(filepath.Join(dir, t.Name+".parquet"))
	if err != nil {
		return 0, err
	}
	below := bufio.NewWriterSize(columns, 1<<18)
	c, p := csv.NewWriter(bufio.NewWriterSize(text, 1<<18)), table.NewParquet(t, below)
	fields := make([]string, len(t.Columns))
	count := 0
	for i := range keys {
		for _, row := range ready[i%different] {
			row[0] = keys[i]
			for j, v := range row {
				fields[j] = v.Format(t.Columns[j].Type)
			}
			if err := errors.Join(c.Write(fields), p.Write(row)); err != nil {
				return 0, err
			}
			count++
		}
	}
	c.Flush()
	return count, errors.Join(c.Error(), p.Close(), below.Flush(), text.Close(), columns.Close())
}
