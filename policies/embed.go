// Package policies carries the rules, the limits and the schema of facts into the service.
//
// They are a product of their own, read and tested without any Go: README.md beside this file says how. Nothing here
// judges; room rules loads what stands in this folder, and the tests beside the rules (NAME_test.rego) are not loaded.
// Angles in rules and limits are in degrees, lengths in millimetres, times in seconds, as each name says.
package policies

import (
	"embed"
	"io/fs"
)

//go:embed rules limits schema
var files embed.FS

// Files is the folder as it was built in: rules/<area>/<rule>/, limits/ and schema/.
func Files() fs.FS { return files }
