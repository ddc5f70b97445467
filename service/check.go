package main

import (
	"context"
	"fmt"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
)

// check says what a rig file means, or prints an empty form.
func check(_ context.Context, s streams, args []string) int {
	if len(args) >= 1 && args[0] == "--blank" {
		return blank(s, args[1:])
	}
	if len(args) != 1 {
		fmt.Fprintln(s.err, "usage: check FILE, or check --blank [german|fork|alt-azimuth]")
		return exitUsage
	}
	file, err := oneRig(args[0])
	if err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	r, faults := rig.Parse(file.name, file.content, file.open)
	if r != nil {
		faults = append(faults, unjudged(r, args[0])...)
	}
	if len(faults) > 0 {
		for _, f := range faults {
			fmt.Fprintln(s.out, f)
		}
		fmt.Fprintf(s.out, "Faults: %d. The file does not load.\n", len(faults))
		return exitCheck
	}
	if _, err := limitsFit(r, nil, args[0]); err != nil {
		fmt.Fprintf(s.out, "%v\nThe limits do not fit: the file does not load.\n", err)
		return exitCheck
	}
	fmt.Fprint(s.out, rig.Understood(r))
	fmt.Fprintf(s.out, "\nIt loads. Its digest:\n%x\n", r.Digest)
	return exitDone
}

// limitsFit merges the limits of a rig file with those of the facility, if any, and the defaults.
func limitsFit(r *rig.Rig, facility *limits.Layer, file string) (limits.Set, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return limits.Set{}, err
	}
	return limits.Merge(defs, layers(r, facility, file)...)
}

// blank prints an empty form.
func blank(s streams, args []string) int {
	kinds := map[string]rig.Kind{"german": rig.German, "fork": rig.Fork, "alt-azimuth": rig.AltAzimuth}
	kind := rig.German
	if len(args) > 0 {
		k, ok := kinds[args[0]]
		if !ok || len(args) > 1 {
			fmt.Fprintln(s.err, "usage: check --blank [german|fork|alt-azimuth]")
			return exitUsage
		}
		kind = k
	}
	fmt.Fprint(s.out, rig.Blank(kind))
	return exitDone
}
