package rules

import (
	"bytes"
	"io/fs"
	"os"
	"path"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/limits"
)

// TestCutShortNamesItsFile cuts every file of the policies at every 64 bytes: loading must fail and name it.
//
// A plain run loads the damaged rule alone, which is enough to see that it is found; with KEEPCLEAR_LONG=1 the whole set is
// loaded each time.
func TestCutShortNamesItsFile(t *testing.T) {
	whole := copied(t)
	lim := testLimits(t)
	for name, file := range whole {
		if strings.HasSuffix(name, "_test.rego") {
			continue // not read by the service
		}
		for n := 0; n < len(file.Data); n += 64 {
			if bytes.Equal(bytes.TrimSpace(file.Data[:n]), bytes.TrimSpace(file.Data)) {
				continue // only a line end is lost
			}
			damaged := only(whole, name)
			damaged[name] = &fstest.MapFile{Data: file.Data[:n]}
			err := loadAll(damaged, lim)
			require.Errorf(t, err, "%s cut at byte %d", name, n)
			require.Containsf(t, err.Error(), name+":", "%s cut at byte %d", name, n)
		}
	}
}

// loadAll is what a start of the service reads.
func loadAll(files fs.FS, lim limits.Set) error {
	if _, err := limits.Read(files); err != nil {
		return err
	}
	_, err := Load(files, lim)
	return err
}

// only returns the files that loading one of them needs: itself and the schema, or in a long run all.
func only(whole fstest.MapFS, name string) fstest.MapFS {
	out := fstest.MapFS{}
	long := os.Getenv("KEEPCLEAR_LONG") != ""
	for n, f := range whole {
		if long || path.Dir(n) == path.Dir(name) || n == schemaFile || strings.HasPrefix(n, "limits/") || name == schemaFile {
			out[n] = f
		}
	}
	return out
}

// TestWholeFileAloneIsNotNamed is the control: an undamaged file draws no fault in that test.
func TestWholeFileAloneIsNotNamed(t *testing.T) {
	whole := copied(t)
	for name := range whole {
		if strings.HasSuffix(name, "_test.rego") || strings.HasPrefix(name, "limits/") || name == schemaFile {
			continue
		}
		err := loadAll(only(whole, name), testLimits(t))
		if os.Getenv("KEEPCLEAR_LONG") != "" {
			require.NoError(t, err)
			continue
		}
		require.Error(t, err) // the other rules are missing
		require.NotContains(t, err.Error(), name+":")
	}
}
