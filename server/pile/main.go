// Command pile measures what it costs that cases pile up, and what a long run
// costs in memory, with the real program and a target that forgets.
//
//	go run ./server/pile --store sqlite --cases 1000000
//	ENBLOC_TEST_POSTGRES=$DSN go run ./server/pile --store postgres --cases 1000000
//	go run ./server/pile --memory 100000
//
// The first two send real cases to two stores, and copy those of the second,
// inside the database and under keys of their own, until so many stand in it as
// they do when their retention time has ended: a million are 20 to 35 GB. Then
// the program runs on the one and on the other by turns, with new cases and their
// parts from eight clients and deliveries beside, and the figures are ratios of
// medians. The third sends all cases through one program, every tenth with its
// parts, and reads its resident memory. Figures go to standard output as JSON; it
// ends with 2 when anything did not go as it does with a hospital.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"

	"enbloc/server/internal/child"
)

// config is one run.
type config struct {
	Store, Binary, Folder string
	Few, Cases            int
	Rounds, Each          int
	Memory                int
	Patience              time.Duration
	Say                   func(format string, args ...any)
}

func main() {
	var c config
	flag.StringVar(&c.Store, "store", "sqlite", "sqlite, postgres (the server that "+child.PostgresEnv+" names) or a postgres:// URL")
	flag.IntVar(&c.Few, "few", 1000, "how many cases stand in the small store; all of them are sent")
	flag.IntVar(&c.Cases, "cases", 20_000, "how many cases stand in the large store; what is more than in the small one is copied inside the database")
	flag.IntVar(&c.Rounds, "rounds", 7, "how often each of the two stores is measured, by turns")
	flag.IntVar(&c.Each, "each", 400, "how many new cases are sent in a round")
	flag.IntVar(&c.Memory, "memory", 0, "measure memory instead: how many cases are sent through one program")
	flag.StringVar(&c.Binary, "binary", "", "the program; empty: built from ./cmd/enbloc")
	flag.StringVar(&c.Folder, "folder", "", "where to put the stores; empty: the system's folder for such")
	flag.DurationVar(&c.Patience, "patience", 4*time.Hour, "how long the whole may take")
	flag.Parse()
	c.Say = func(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	result, err := run(ctx, c)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "pile:", err)
		os.Exit(2)
	}
	fmt.Fprintln(os.Stderr, result)
	out := json.NewEncoder(os.Stdout)
	out.SetIndent("", "  ")
	if err := out.Encode(result); err != nil {
		os.Exit(2)
	}
}

func run(ctx context.Context, c config) (fmt.Stringer, error) {
	ctx, cancel := context.WithTimeout(ctx, c.Patience)
	defer cancel()
	if c.Memory > 0 {
		return endure(ctx, c)
	}
	return grow(ctx, c)
}
