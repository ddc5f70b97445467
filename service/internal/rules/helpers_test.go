package rules

import (
	"io/fs"

	"keepclear.example/keepclear/policies"
)

func dirFS() fs.FS { return policies.Files() }
