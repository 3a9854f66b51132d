// Command torture proves that nothing is lost and nothing doubled: it sends
// invented cases through the real program while the target answers wrongly and
// the program is killed again and again, and then checks what stands.
//
//	go run ./server/torture --cases 10000 --kills 50 --faults 0.2 --store sqlite
//	go run ./server/torture --cases 10000 --kills 50 --faults 0.2 --store postgres
//	go run ./server/torture --cases 1000 --kills 50 --replicas 3 --store postgres
//	go run ./server/torture --cases 1000 --kills 50 --rung 4
//	go run ./server/torture --cases 60 --kills 6 --faults 0.2 --hapi testdata/peers/hapi/start.sh --hapi-kills 3
//
// It promises that its judgement does not rest on what the program says of
// itself: the checker reads the receiver's own journal, maps every state anew
// from the documents, and compares. It prints its figures as JSON and ends with
// 1 when anything was lost, doubled, out of order or other than recorded. The
// same seed sends the same documents and kills after the same of them; what is
// under way at that moment is up to the machine.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"time"

	"enbloc/server/internal/child"
)

func main() {
	var c config
	flag.IntVar(&c.Cases, "cases", 200, "how many cases are sent, each of one document or several")
	flag.IntVar(&c.Kills, "kills", 5, "how often the program is killed with SIGKILL")
	flag.Float64Var(&c.Faults, "faults", 0.2, "share of the target's answers that are faulty, 0 to 1")
	flag.Uint64Var(&c.Seed, "seed", 1, "number that cases, faults and kills are drawn by")
	flag.StringVar(&c.Store, "store", "sqlite", "sqlite, postgres (the server that "+child.PostgresEnv+" names) or a postgres:// URL")
	flag.StringVar(&c.Binary, "binary", "", "the program; empty: built from ./cmd/enbloc")
	flag.StringVar(&c.HAPI, "hapi", "", "script that starts a HAPI FHIR server as PORT DATADIR; empty: the practice receiver is the target, with its faults")
	flag.IntVar(&c.HAPIKills, "hapi-kills", 3, "how often HAPI is killed with SIGKILL and started again on its data")
	flag.IntVar(&c.Replicas, "replicas", 1, "how many processes of the program share the Postgres; each kill meets one of them")
	flag.IntVar(&c.Rung, "rung", 0, "rung by which the target is written, 1 to 4, by a receiver that leaves none better; 0: what the program chooses")
	flag.IntVar(&c.Senders, "senders", 4, "how many senders send side by side")
	flag.DurationVar(&c.Patience, "patience", 2*time.Hour, "how long the playing may take; what follows is judged however long that takes")
	flag.Parse()
	debug.SetGCPercent(40) // the journal of 10,000 cases fills gigabytes
	c.Say = func(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	verdict, err := run(ctx, c)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "torture:", err)
		os.Exit(2)
	}
	out := json.NewEncoder(os.Stdout)
	out.SetIndent("", "  ")
	if err := out.Encode(verdict); err != nil || !verdict.Good() {
		os.Exit(1)
	}
}
