package cli

import (
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/mapping/fhir"
)

// exampleKey makes the identities of examples and of mappings that nobody will
// send. It is no secret: whoever reads this can make the same ones.
var exampleKey = []byte("enbloc example key, not a secret")

// mappingFlags are the settings of a site that decide what a record looks like.
type mappingFlags struct {
	keyFile, data, tenant, book string
	codes                       string
	licensed, noProfiles        bool
}

func (f *mappingFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.keyFile, "key-file", "", "`FILE` of the site's identity key")
	c.Flags().StringVar(&f.tenant, "tenant", "", "`NAME` of the site, where several share a key")
	c.Flags().BoolVar(&f.licensed, "licensed-snomed", false, "the site holds a SNOMED CT licence")
	codesFlag(c, &f.codes)
	profilesFlag(c, &f.noProfiles)
	bookFlag(c, &f.book)
}

// pipeline is the transformation under the given key.
func (f *mappingFlags) pipeline(key []byte) (mapping.Pipeline, error) {
	book, err := service.LoadBook(f.book)
	if err != nil {
		return mapping.Pipeline{}, err
	}
	codes, err := service.LoadCodes(f.codes)
	return mapping.Pipeline{Book: book, FHIR: fhir.Options{
		Key: key, Tenant: f.tenant, Licensed: f.licensed, SoftwareVersion: version(), Site: codes, NoProfiles: f.noProfiles,
	}}, err
}

func newMap(s Streams) *cobra.Command {
	var with []string
	var flags mappingFlags
	var dressName string
	c := &cobra.Command{
		Use:     "map FILE",
		GroupID: onFile,
		Short:   "Print the FHIR R4 transaction Bundle of a report",
		Long: `Check and assess the report and print it as the FHIR R4 transaction Bundle that
creates its record, or, with a dressing that makes documents, as that document.
Nothing is stored and nothing leaves this machine.

Without --key-file the identities are those of an example key, which is public:
such a Bundle is for looking at, not for sending.`,
		Example: `  enbloc map report.json --with histology.json > bundle.json`,
		Args:    exactly(1, "one FILE, or - for standard input"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			key := exampleKey
			if flags.keyFile != "" {
				var err error
				if key, err = service.LoadKey(flags.keyFile); err != nil {
					return err
				}
			}
			return s.printBundle(args[0], with, key, dressName, flags)
		},
	}
	withFlag(c, &with)
	c.Flags().StringVar(&dressName, "dress", "", "`NAME` of a target's dressing: "+dressNames()+" (default base)")
	flags.add(c)
	return c
}

func (s Streams) printBundle(file string, with []string, key []byte, dressName string, flags mappingFlags) error {
	pipeline, err := flags.pipeline(key)
	if err != nil {
		return err
	}
	if pipeline.Dress, err = dress.Named(dressName); err != nil {
		return usagef("%v", err)
	}
	c, err := s.sound(file, with)
	if err != nil {
		return err
	}
	// Each document is one state of the case: the report, then every part.
	g, err := pipeline.Map(c.rep, len(c.documents))
	if err != nil {
		return &exitError{HasErrors, fmt.Errorf("%s cannot be mapped: %w", c.documents[0].name, err)}
	}
	bundle := []byte(g.Document)
	if !pipeline.Dress.Document {
		bundle = fhir.Bundle(g)
	}
	_, err = s.Out.Write(append(bundle, '\n'))
	return writing(err)
}

// dressNames lists the dressings for a flag's help.
func dressNames() string {
	var names []string
	for _, d := range dress.All() {
		names = append(names, d.Name)
	}
	return strings.Join(names, ", ")
}

// siteKey loads the site's key, or makes it on first use where the service
// would.
func (s Streams) siteKey(f *mappingFlags) ([]byte, error) {
	path := f.keyFile
	if path == "" {
		path = filepath.Join(f.data, service.KeyName)
	}
	key, made, err := service.LoadOrMakeKey(path)
	if made {
		fmt.Fprintf(s.Err, "enbloc: made the identity key %s: keep it, another key writes every record again\n", path)
	}
	return key, err
}
