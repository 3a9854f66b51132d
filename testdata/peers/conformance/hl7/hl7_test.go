// Package hl7 proves that HL7's validator, as validate.sh runs it, still catches the control faults. It promises that
// a validator that can't be built or started fails the test.
package hl7

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"enbloc/conformance/controls"

	"github.com/stretchr/testify/require"
)

// exitErrors is validate.sh's exit status for "some file has an error".
const exitErrors = 1

// TestControls validates the right Bundle and every control in one start of the validator, which takes some seconds.
func TestControls(t *testing.T) {
	folder := t.TempDir()
	write := func(name string, bundle []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), bundle, 0o600))
	}
	write("good.json", controls.Good)
	for i, fault := range controls.Faults {
		bundle, err := fault.Bundle()
		require.NoError(t, err)
		write(fmt.Sprintf("fault-%02d.json", i), bundle)
	}

	said := validate(t, folder)
	require.Len(t, said, len(controls.Faults)+1)
	require.Empty(t, said["good.json"], "the validator finds an error in the right Bundle")
	for i, fault := range controls.Faults {
		t.Run(fault.Name, func(t *testing.T) {
			found := said[fmt.Sprintf("fault-%02d.json", i)]
			require.Equal(t, slices.Contains(fault.Caught, controls.HL7), len(found) > 0, "the validator says: %q", found)
		})
	}
}

// validate gives the errors of each file below the folder, by the file's name.
func validate(t *testing.T, folder string) map[string][]string {
	t.Helper()
	var out, progress bytes.Buffer
	command := exec.CommandContext(t.Context(), "../../validator/validate.sh", folder)
	command.Stdout, command.Stderr = &out, &progress
	err := command.Run()
	var exit *exec.ExitError
	require.True(t, errors.As(err, &exit), "validate.sh must find errors in the controls, but ended with %v", err)
	require.Equal(t, exitErrors, exit.ExitCode(), "validate.sh says: %s", progress.String())

	var summary struct {
		Files []struct {
			File   string
			Errors []struct{ ID, Path, Text string }
		}
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &summary), "the summary can't be read: %s", out.String())
	said := map[string][]string{}
	for _, file := range summary.Files {
		var errors []string
		for _, fault := range file.Errors {
			errors = append(errors, fault.ID+" "+fault.Path+": "+fault.Text)
		}
		said[filepath.Base(file.File)] = errors
	}
	return said
}
