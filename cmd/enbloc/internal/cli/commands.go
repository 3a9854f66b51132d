package cli

import "github.com/spf13/cobra"

// commands are all commands but cobra's own (help, completion), in the order
// of the help.
func commands(s Streams) []*cobra.Command {
	return []*cobra.Command{
		newCheck(s), newAssess(s), newMap(s), newImport(s), newSend(s),
		newServe(s), newDemo(s), newPractice(s), newPreflight(s), newDeliveries(s), newResend(s), newSkip(s), newHealth(s), newBackup(s),
		newExport(s), newIndicators(s), newRegistry(s),
		newRules(s), newCodes(s), newPackage(s), newSchemas(s), newExamples(s),
	}
}
