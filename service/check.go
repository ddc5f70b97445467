package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/inspect"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// check says what a rig file means, or prints an empty form.
func check(ctx context.Context, s streams, args []string) int {
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
	r, faults, found := rig.Examine(file.name, file.content, file.open)
	if r != nil {
		faults = append(faults, unjudged(r, args[0])...)
	}
	if len(faults) > 0 {
		for _, f := range faults {
			fmt.Fprintln(s.out, f)
		}
		if said := rig.SayFinds(found); said != "" { // often the cause
			fmt.Fprint(s.out, "\n", said, "\n")
		}
		fmt.Fprintf(s.out, "Faults: %d. The file does not load.\n", len(faults))
		return exitCheck
	}
	set, err := limitsFit(r, nil, args[0])
	if err != nil {
		if faults := (limits.Faults)(nil); errors.As(err, &faults) {
			err = faults // file and line first
		}
		fmt.Fprintf(s.out, "%v\nThe limits do not fit: the file does not load.\n", err)
		return exitCheck
	}
	fmt.Fprint(s.out, rig.Understood(r))
	if said := rig.SayFinds(inspected(ctx, r, set)); said != "" {
		fmt.Fprint(s.out, "\n", said)
	}
	fmt.Fprintf(s.out, "\nIt loads. Its digest:\n%x\n", r.Digest)
	return exitDone
}

// inspected is all that is found of a rig that loads: in its file, and over all of its axis space.
func inspected(ctx context.Context, r *rig.Rig, set limits.Set) []rig.Find {
	mm := func(rule, name string) unit.Length {
		v, _ := set.Value(rule, name)
		return unit.Length(v)
	}
	floor, _ := set.Value("sky/floor", "altitude_deg")
	asked := inspect.Asked{
		PartMM: mm("clear/path", "part_mm"), GeneralMM: mm("clear/path", "general_mm"), ResidualMM: mm("rig/proven", "residual_mm"), FloorDeg: floor, Budget: inspect.Budget,
	}
	found := inspect.Look(r, asked, func() bool { return ctx.Err() == nil })
	return rig.Ordered(append(slices.Clone(r.Notices), found...))
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
