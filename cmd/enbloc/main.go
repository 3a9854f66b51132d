// Command enbloc takes reports of endoscopic resections, checks and assesses
// them, and delivers them as FHIR R4 records. See README.md, or enbloc help.
package main

import (
	"context"
	"os"

	"enbloc/cmd/enbloc/internal/cli"
)

func main() {
	os.Exit(cli.Run(context.Background(), os.Args[1:], cli.Streams{
		In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv,
	}))
}
