package cli

import (
	"context"
	"io"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/layout"
)

// Streams are what a run reads and writes, and the environment it sees.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	// Env looks up an environment variable; nil means an empty environment.
	Env func(name string) string
}

func (s Streams) env(name string) string {
	if s.Env == nil {
		return ""
	}
	return s.Env(name)
}

// page lays text out on standard output.
func (s Streams) page() *layout.Page { return layout.New(s.Out, s.env) }

// Run runs one command and returns its exit code. It stops early, in good
// order, when ctx ends.
func Run(ctx context.Context, args []string, s Streams) int {
	root := newRoot(s)
	root.SetArgs(args)
	return finish(root.ExecuteContext(ctx), s.Err)
}

const about = `enbloc takes the structured report of an endoscopic resection (ESD, EMR), checks
it, says what published rules make of it, and brings it as a coded FHIR R4 record
to the hospital's FHIR server, once in effect however often it is sent.

What it says about a case is information for licensed clinicians. It names its
source, defers to local protocol and is no instruction.`

const exitCodes = `
Exit codes: 0 good · 1 the report has errors · 2 wrong call or unreadable input ·
3 the target or the service asked failed.
`

// Groups of commands in the help.
const (
	onFile  = "file"
	running = "service"
	lookUp  = "reference"
)

func newRoot(s Streams) *cobra.Command {
	root := &cobra.Command{
		Use:           "enbloc",
		Short:         "Endoscopic resection reports: checked, assessed, delivered as FHIR",
		Long:          about,
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       version() + " (" + runtime.Version() + ")",
	}
	root.SetIn(s.In)
	root.SetOut(s.Out)
	root.SetErr(s.Err)
	root.SetVersionTemplate("enbloc {{.Version}}\n")
	root.SetUsageTemplate(strings.TrimRight(root.UsageTemplate(), "\n") + "\n" + exitCodes)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usagef("%w\nSee: %s --help", err, c.CommandPath())
	})
	root.AddGroup(
		&cobra.Group{ID: onFile, Title: "With a report in a file (- is standard input):"},
		&cobra.Group{ID: running, Title: "With the service:"},
		&cobra.Group{ID: lookUp, Title: "To look things up:"},
	)
	root.AddCommand(commands(s)...)
	root.SetHelpCommandGroupID(lookUp)
	root.SetCompletionCommandGroupID(lookUp)
	return root
}

// exactly accepts n arguments and says in words what is missing.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != n {
			return usagef("%s needs %s, got %d arguments\nSee: %s --help", c.CommandPath(), what, len(args), c.CommandPath())
		}
		return nil
	}
}

// none refuses arguments. cobra.NoArgs would call them unknown commands.
func none(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usagef("%s takes no argument, got %q\nSee: %s --help", c.CommandPath(), args[0], c.CommandPath())
	}
	return nil
}

// release is set by the linker where the build cannot see the repository
// (-ldflags "-X enbloc/cmd/enbloc/internal/cli.release=1.2.3").
var release string

// version is the release, or the module's version, or the commit it was built
// from. It stands in every record, as the version of the software.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unversioned"
	}
	v := info.Main.Version
	for _, setting := range info.Settings {
		if setting.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = setting.Value
		}
	}
	if v == "" || v == "(devel)" {
		return "unversioned"
	}
	return v
}
