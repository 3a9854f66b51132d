// Command mutate asks whether the tests of the rules would notice a wrong
// limit. It flips every comparison and moves every limit and every number of
// points in mapping/assess, one at a time, runs the tests of the package on
// each change, and lists the changes that no test noticed.
//
// It changes no file. All changes are built into one test binary, which is
// told by its environment which one of them to make; the changed source is
// laid over the true one by the -overlay flag of the go command. Only named
// constants, which cannot be chosen at run time, are built one by one.
//
//	go run ./mapping/assess/internal/mutate [-only FILE] [-list]
//
// Run it at the top of the repository. The exit status is 1 when fewer than
// 95% of the changes were noticed. What survives, and why, stands in
// SURVIVORS.md.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// left lists files without a rule: how changes are read, printed and paired.
var left = []string{"answer_text.go", "describe.go", "book.go", "registry.go", "result.go", "doc.go"}

func main() {
	only := flag.String("only", "", "mutate this file only")
	list := flag.Bool("list", false, "list the mutants and run nothing")
	flag.Parse()
	sources, err := collect("mapping/assess", *only)
	if err != nil {
		fatal(err)
	}
	total := 0
	for _, s := range sources {
		for _, m := range s.mutants {
			if *list {
				fmt.Println(m)
			}
		}
		total += len(s.mutants)
	}
	if *list {
		return
	}
	survived, err := run(sources)
	if err != nil {
		fatal(err)
	}
	report(survived, total)
}

func fatal(err error) {
	fmt.Fprintln(os.Stderr, "mutate:", err)
	os.Exit(2)
}

// collect finds the mutants of every rule file and numbers them.
func collect(dir, only string) ([]*source, error) {
	var out []*source
	next := 1
	for _, pattern := range []string{dir + "/*.go", dir + "/stats/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			return nil, fmt.Errorf("listing rule files: %w", err)
		}
		for _, name := range files {
			base := filepath.Base(name)
			if strings.HasSuffix(base, "_test.go") || slices.Contains(left, base) || only != "" && base != only {
				continue
			}
			s, err := read(name, next)
			if err != nil {
				return nil, err
			}
			next += len(s.mutants)
			out = append(out, s)
		}
	}
	return out, nil
}

func report(survived []mutant, total int) {
	caught := total - len(survived)
	share := 100 * float64(caught) / float64(max(total, 1))
	fmt.Printf("%d mutants, %d noticed (%.1f%%), %d survived\n", total, caught, share, len(survived))
	for _, m := range survived {
		fmt.Println("  " + m.String())
	}
	if share < 95 {
		os.Exit(1)
	}
}
