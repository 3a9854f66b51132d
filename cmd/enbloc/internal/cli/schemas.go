package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"enbloc/schemas"
)

func newSchemas(s Streams) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:     "schemas [NAME]",
		GroupID: lookUp,
		Short:   "Print or export the JSON Schemas of the documents",
		Long: `List the JSON Schemas (2020-12) of the documents that enbloc reads, print one by
its name, or write all of them into a folder with --out. They may be used by others
as they are: to build a form, to check before sending.`,
		Example: `  enbloc schemas
  enbloc schemas report/1/report.schema.json
  enbloc schemas --out schemas`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				f, ok := schemas.Lookup(args[0])
				if !ok {
					return usagef("there is no schema %q; enbloc schemas lists them", args[0])
				}
				_, err := s.Out.Write(f.Body)
				return writing(err)
			}
			var files []file
			var names []string
			for _, f := range schemas.Files() {
				files = append(files, file{f.Path, f.Body})
				names = append(names, f.Path)
			}
			if out != "" {
				return s.writeFiles(out, files)
			}
			_, err := s.Out.Write([]byte(strings.Join(names, "\n") + "\n"))
			return writing(err)
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			var names []string
			for _, f := range schemas.Files() {
				names = append(names, f.Path)
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
	}
	c.Flags().StringVar(&out, "out", "", "write all schemas into this `DIR`")
	return c
}
