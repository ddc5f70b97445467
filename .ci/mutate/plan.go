package main

import (
	"fmt"
	"strings"
)

// room is a package whose code is changed.
type room struct {
	name  string
	dir   string   // from the root
	files []string // only these; none: all that are no tests
	tests []string // directories of the tests that must notice, its own first; later ones are asked about survivors alone
	rego  bool
}

const rooms = "service/internal/"

// Own tests first. The neighbours are those that use the room and say what is wanted of it; nights are left out for their length.
var plan = []room{
	{name: "verdict", dir: rooms + "verdict", tests: []string{rooms + "verdict", rooms + "decide"}},
	{name: "limits", dir: rooms + "limits", tests: []string{rooms + "limits", rooms + "rules"}},
	{name: "rules", dir: rooms + "rules", tests: []string{rooms + "rules", rooms + "decide"}},
	{name: "state", dir: rooms + "state", tests: []string{rooms + "state", rooms + "decide", rooms + "record"}},
	{name: "decide", dir: rooms + "decide", tests: []string{rooms + "decide", rooms + "rpc"}},
	{name: "record", dir: rooms + "record", tests: []string{rooms + "record", rooms + "decide"}},
	// What proves, not what draws or times: the arithmetic of margins.
	{name: "reach", dir: rooms + "reach", tests: []string{rooms + "reach", rooms + "facts"}},
	{name: "policies", dir: "policies", tests: []string{rooms + "rules"}, rego: true},
}

func chosen(names []string) ([]room, error) {
	if len(names) == 0 {
		return plan, nil
	}
	var out []room
	for _, n := range names {
		found := false
		for _, r := range plan {
			if r.name == strings.TrimSuffix(n, "/") {
				out, found = append(out, r), true
			}
		}
		if !found {
			return nil, fmt.Errorf("no room %q in the plan (.ci/mutate/plan.go)", n)
		}
	}
	return out, nil
}

// open finds the room's mutants and readies what tries them.
func (r room) open(o options, scratch string) ([]*mutant, trier, error) {
	if r.rego {
		return openRego(r, o, scratch)
	}
	return openGo(r, o, scratch)
}
