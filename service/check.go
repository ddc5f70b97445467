package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

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
		fmt.Fprintln(s.err, "usage: check FILE, check FOLDER, or check --blank [german|fork|alt-azimuth]")
		return exitUsage
	}
	if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
		return checkFolder(s, args[0])
	}
	file, err := oneRig(args[0])
	if err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	if err := misplaced(file.name); err != nil {
		fmt.Fprintln(s.out, err)
		return exitCheck
	}
	if isClass(file.content) {
		fmt.Fprintf(s.out, "%s is a class file: what several rigs share, and no rig. Check a rig file that names it, or the folder: check %s\n", file.name, filepath.Dir(file.name))
		return exitCheck
	}
	if filepath.Base(file.name) == limitsFile {
		return checkLimits(s, file)
	}
	r, faults, found := rig.Examine(file.name, file.content, file.open)
	if r != nil {
		faults = slices.Concat(unjudged(r), unlived(r, s.now()))
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
	facility, err := file.facility()
	var set limits.Set
	if err == nil {
		set, err = limitsFit(r, facility, file.name)
	}
	if err != nil {
		return notLoaded(s, err, file)
	}
	fmt.Fprint(s.out, rig.Understood(r))
	sayLimits(s, facility)
	if said := rig.SayFinds(inspected(ctx, r, set, s.now())); said != "" {
		fmt.Fprint(s.out, "\n", said)
	}
	fmt.Fprintf(s.out, "\nIt loads. Its digest:\n%x\n", r.Digest)
	return exitDone
}

// checkFolder says whether a service would start on a folder of rig files, and if not why: every fault of every file, as the start tells it.
func checkFolder(s streams, dir string) int {
	files, facility, err := readRigs(dir)
	members, bad := newMembers(files, facility)
	if bad == nil {
		bad = unlivedOf(files, members, s.now())
	}
	if err = errors.Join(err, bad); err != nil {
		fmt.Fprintf(s.out, "%v\nA service would not start on this folder.\n", err)
		return exitCheck
	}
	var ids []string
	for i, m := range members {
		ids = append(ids, m.Rig.ID)
		fmt.Fprintf(s.out, "%s: %s, digest %x\n", files[i].name, m.Rig.ID, m.Rig.Digest)
	}
	sayLimits(s, facility)
	for _, path := range unused(dir, files) {
		fmt.Fprintf(s.out, "%s is a class file that no rig file names: nothing of it counts.\n", path)
	}
	for _, line := range toLookAt(members) {
		fmt.Fprintln(s.out, line)
	}
	fmt.Fprintf(s.out, "\nA service would start on this folder, and serve %s.\n", strings.Join(ids, ", "))
	return exitDone
}

// notLoaded says what of limits keeps a file from loading: faults of its own, and of the facility's limits beside it, which keep every rig from it.
func notLoaded(s streams, err error, file rigFile) int {
	var all limits.Faults
	if !errors.As(err, &all) {
		fmt.Fprintln(s.out, err)
		return exitCheck
	}
	for _, f := range all {
		if f.File == file.beside(limitsFile) {
			fmt.Fprintln(s.out, f)
			continue
		}
		fmt.Fprintln(s.out, limitFault(f))
	}
	fmt.Fprintf(s.out, "Faults: %d. The file does not load.\n", len(all))
	return exitCheck
}

// sayLimits says what the limits beside a rig file, which count for every rig of its folder, make of the defaults.
func sayLimits(s streams, facility *limits.Layer) {
	if facility == nil {
		return
	}
	for _, e := range facility.Entries {
		fmt.Fprintf(s.out, "Limit of every rig of this folder: %s %s = %v (%s:%d).\n", e.Rule, e.Name, e.Value, facility.File, e.Line)
	}
}

// checkLimits says what the facility's limits mean, or what is wrong with them. Whether a rig's own are looser is found by checking that rig.
func checkLimits(s streams, file rigFile) int {
	facility, err := file.facility()
	if err == nil {
		err = facilityFits(*facility)
	}
	if err != nil {
		return notLoaded(s, err, file)
	}
	sayLimits(s, facility)
	fmt.Fprint(s.out, "\nThese limits load. Whether a rig's own are looser, check tells of its file.\n")
	return exitDone
}

// facilityFits are the faults of the facility's limits alone: what every rig has to state for itself is lacking in no file yet.
func facilityFits(facility limits.Layer) error {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return err
	}
	_, err = limits.Merge(defs, facility, limits.Layer{})
	if _, common := ofLimits(err, &facility); len(common) > 0 {
		return common
	}
	return nil
}

// inspected is all that is found of a rig that loads: in its file, by today, and over all of its axis space.
func inspected(ctx context.Context, r *rig.Rig, set limits.Set, now time.Time) []rig.Find {
	mm := func(rule, name string) unit.Length {
		v, _ := set.Value(rule, name)
		return unit.Length(v)
	}
	floor, _ := set.Value("sky/floor", "altitude_deg")
	sharp, _ := set.Value("pose/sharp", "sigma_deg")
	asked := inspect.Asked{
		PartMM: mm("clear/path", "part_mm"), GeneralMM: mm("clear/path", "general_mm"), ResidualMM: mm("rig/proven", "residual_mm"), FloorDeg: floor, SharpDeg: sharp, Budget: inspect.Budget,
	}
	found := inspect.Look(r, asked, func() bool { return ctx.Err() == nil })
	return rig.Ordered(slices.Concat(r.Notices, longAgo(r, now), found))
}

// limitsFit merges the limits of a rig file with those of the facility, if any, and the defaults.
func limitsFit(r *rig.Rig, facility *limits.Layer, file string) (limits.Set, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return limits.Set{}, err
	}
	return limits.Merge(defs, layers(r, facility, file)...)
}

// ofLimits are the faults met when limits were merged: those of a rig, each as one of the file in which it stands, and apart from them the facility's
// own, which every rig meets. Of any other error, that one alone.
func ofLimits(err error, facility *limits.Layer) (ofRig []error, common limits.Faults) {
	var all limits.Faults
	if !errors.As(err, &all) {
		return []error{err}, nil
	}
	for _, f := range all {
		if facility != nil && f.File == facility.File {
			common = append(common, f)
			continue
		}
		ofRig = append(ofRig, limitFault(f))
	}
	return ofRig, common
}

// limitFault is a fault of a limit as one of a rig file, or of its class file.
func limitFault(f limits.Fault) rig.Fault {
	return rig.Fault{File: f.File, Line: f.Line, Key: "limits." + strings.ReplaceAll(f.Key, " ", "."), Wanted: f.Wanted, Got: f.Got, Remedy: f.Remedy}
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
