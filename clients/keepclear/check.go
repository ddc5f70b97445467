package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
)

// checked holds a request against the ranges of the API before it is sent: the service would refuse it too, but a report that it refuses
// holds the rig for everybody. It names the flag.
func (k *call) checked(m proto.Message) error {
	err := protovalidate.Validate(m)
	var found *protovalidate.ValidationError
	switch {
	case err == nil:
		return nil
	case !errors.As(err, &found):
		return fmt.Errorf("checking what is to be sent: %w", err)
	}
	var faults []string
	for _, v := range found.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		if said := fmt.Sprintf("%s %s", k.typedAs(path), wanted(v.Proto.GetMessage())); !slices.Contains(faults, said) {
			faults = append(faults, said)
		}
	}
	return wrong("%s", strings.Join(faults, "; "))
}

// wanted says of a text what it must look like as of a number.
func wanted(rule string) string {
	form, is := strings.CutPrefix(rule, "does not match regex pattern ")
	if !is {
		return rule
	}
	return "must be of the form " + strings.NewReplacer("`^", "", "$`", "").Replace(form)
}

// typedAs names what was typed for a field of a request: a flag with its value, or a place in a file.
func (k *call) typedAs(path string) string {
	if f := k.flags.Lookup("steps"); f != nil && f.Value.String() != "" && strings.HasPrefix(path, "steps") {
		return fmt.Sprintf("--steps %s: %s", f.Value, path)
	}
	for _, of := range [...]struct{ path, flag string }{
		{"sample.", "sample"}, {"action.sync.", "solve"}, {"homed.sigma", "sigma"}, {"track.track_duration", "for"},
		{"axis1_deg", "axis1"}, {"axis2_deg", "axis2"}, {"ra_deg", "ra"}, {"dec_deg", "dec"}, {"rate_deg_per_s", "rate"},
		{"track_duration", "track"}, {"residual_mm", "residual"}, {"request_id", "request-id"}, {"replaces_permit_id", "replaces"},
		{"attended_by", "attended-by"}, {"person", "person"}, {"reason", "reason"}, {"note", "note"}, {"place", "place"}, {"asker", "as"},
		{"gap_mm", "gap"}, {"band_deg", "band"}, {"what_ifs", "what-if"},
	} {
		if !strings.HasPrefix(path, of.path) && !strings.HasSuffix(path, of.path) && !strings.Contains(path, "."+of.path) {
			continue
		}
		f := k.flags.Lookup(of.flag)
		switch {
		case f == nil:
		case of.flag == "sample" || of.flag == "solve":
			return fmt.Sprintf("--%s %s: %s", f.Name, f.Value, path)
		default:
			return fmt.Sprintf("--%s %s:", f.Name, f.Value)
		}
	}
	if path == "rig" || strings.HasPrefix(path, "rig.") {
		return "the rig's id"
	}
	return path
}
