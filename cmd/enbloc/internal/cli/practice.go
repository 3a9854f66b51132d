package cli

import (
	"fmt"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/demo"
	"enbloc/server/practice"
)

// practiceFlags say how the receiver behaves.
type practiceFlags struct {
	listen, like string
	seed         uint64
	faults       []string
	lacks        []string
	slow         time.Duration
}

func newPractice(s Streams) *cobra.Command {
	var f practiceFlags
	c := &cobra.Command{
		Use:     "practice",
		GroupID: running,
		Short:   "Run a practice receiver to send to, where no FHIR server is at hand",
		Long: `Run a practice receiver on loopback until Ctrl-C. It knows the invented patients of
the example cases, speaks the FHIR calls that enbloc makes, labels every answer as
practice, and keeps nothing beyond this run. It is no FHIR server and no place for
patient data.

For testing an interface it can go wrong on purpose: a share of its answers by
--fault, a way of its own by --behave, and single abilities taken away by --lacks.
Every answer says what it is, also when it is a fault.

` + practiceWays(),
		Example: `  enbloc practice
  enbloc practice --seed 7 --fault 500=0.05 --fault reset-after=0.05
  enbloc practice --behave entry-by-entry
  enbloc practice --lacks transaction
  enbloc send report.json --to http://127.0.0.1:8701/fhir`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			prepare, about, err := f.behaviour()
			if err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return demo.Receive(ctx, f.listen, prepare, func(base string) {
				p := s.page()
				p.Item(0, 10, "Receiver", base+", "+practice.Notice)
				p.Item(0, 10, "Behaves", about)
				p.Text(10, "Ctrl-C ends it.")
			})
		},
	}
	fl := c.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.listen, "listen", "127.0.0.1:8701", "`HOST:PORT` to listen on")
	fl.StringVar(&f.like, "behave", "strict", "`KIND` of server to behave like")
	fl.StringSliceVar(&f.lacks, "lacks", nil, "`ABILITY` that it does not have; may be given several times")
	fl.StringArrayVar(&f.faults, "fault", nil, "`KIND=SHARE` of answers that go wrong, such as 500=0.05; may be given several times")
	fl.Uint64Var(&f.seed, "seed", 1, "`NUMBER` that the faults and races are drawn by")
	fl.DurationVar(&f.slow, "slow-by", 2*time.Second, "how late a slow answer comes")
	return c
}

// practiceWays lists what --behave, --fault and --lacks take.
func practiceWays() string {
	var b strings.Builder
	b.WriteString("Kinds of server (--behave):\n")
	for _, one := range practice.Behaviours() {
		fmt.Fprintf(&b, "  %-17s %s\n", one.Name, one.About)
	}
	b.WriteString("\nFaults (--fault): ")
	var kinds []string
	for _, k := range practice.FaultKinds() {
		kinds = append(kinds, string(k))
	}
	b.WriteString(strings.Join(kinds, ", ") + ",\n  or any=SHARE for all of them alike\n")
	b.WriteString("\nAbilities (--lacks): " + strings.Join(abilityNames(), ", "))
	return b.String()
}

// abilities are what can be taken away, singly.
var abilities = map[string]func(*practice.Shape){
	"transaction":        func(s *practice.Shape) { s.NoTransaction = true },
	"atomicity":          func(s *practice.Shape) { s.NotAtomic = true },
	"conditional-create": func(s *practice.Shape) { s.NoConditionalCreate = true },
	"conditions":         func(s *practice.Shape) { s.IgnoresConditions = true },
	"if-match":           func(s *practice.Shape) { s.IgnoresVersions = true },
	"client-ids":         func(s *practice.Shape) { s.NoClientIDs = true },
	"post-search":        func(s *practice.Shape) { s.NoPostSearch = true },
	"delete":             func(s *practice.Shape) { s.Deletes = false },
	"writing":            func(s *practice.Shape) { s.ReadOnly = true },
	"honesty":            func(s *practice.Shape) { s.Claims = true }, // its CapabilityStatement lies
}

func abilityNames() []string {
	var names []string
	for name := range abilities {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// behaviour turns the flags into what the receiver is told, and into words.
func (f practiceFlags) behaviour() (prepare func(*practice.Receiver) error, about string, err error) {
	all := practice.Behaviours()
	i := slices.IndexFunc(all, func(b practice.Behaviour) bool { return b.Name == f.like })
	if i < 0 {
		return nil, "", usagef("--behave %q is no kind of server\nSee: enbloc practice --help", f.like)
	}
	shape, about := all[i].Shape, all[i].Name+": "+all[i].About
	shape.Seed = f.seed
	shape.Deletes = !shape.ReadOnly && !shape.OnlyDocuments // so that a preflight can clean up after itself
	for _, name := range f.lacks {
		take, ok := abilities[name]
		if !ok {
			return nil, "", usagef("--lacks %q is none of %s", name, strings.Join(abilityNames(), ", "))
		}
		take(&shape)
		about += " Without " + name + "."
	}
	faults := practice.Faults{Seed: f.seed, Chance: map[practice.FaultKind]float64{}, Delay: f.slow}
	for _, text := range f.faults {
		if err := addFault(faults, text); err != nil {
			return nil, "", err
		}
	}
	if len(f.faults) > 0 {
		about += fmt.Sprintf(" Faults on purpose, seed %d: %s.", f.seed, strings.Join(f.faults, ", "))
	}
	// A receiver of its own finds out whether the shares can be drawn.
	if err := practice.New("").Faults(faults); err != nil {
		return nil, "", usagef("%w", err)
	}
	return func(r *practice.Receiver) error {
		r.Shape(shape)
		return r.Faults(faults)
	}, about, nil
}

// addFault reads kind=share; the kind "any" spreads the share evenly.
func addFault(into practice.Faults, text string) error {
	if share, ok := strings.CutPrefix(text, "any="); ok {
		text = string(practice.Fault500) + "=" + share
		_, total, err := practice.ParseFault(text)
		if err != nil {
			return usagef("--fault any=%s: the share is a number from 0 to 1", share)
		}
		for kind, each := range practice.EvenFaults(0, total).Chance {
			into.Chance[kind] += each
		}
		return nil
	}
	kind, share, err := practice.ParseFault(text)
	if err != nil {
		return usagef("--fault %w", err)
	}
	into.Chance[kind] += share
	return nil
}
