package main

import (
	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
)

// describer describes the rules in force, with the limits as they bind a rig; without a rig, the defaults.
func describer(members []decide.Member) func(string) (*pb.ListRulesResponse, error) {
	return func(name string) (*pb.ListRulesResponse, error) {
		for _, m := range members {
			if m.Rig.ID == name {
				return described(m.Rules.(*rules.Set), m.Limits), nil
			}
		}
		if name != "" {
			return nil, decide.ErrNoRig
		}
		defs, err := limits.Read(policies.Files())
		if err != nil {
			return nil, err
		}
		out := described(members[0].Rules.(*rules.Set), limits.Set{})
		for _, r := range out.Rules {
			for _, d := range defs {
				if d.Rule == r.GetRuleId() && d.Default != nil {
					r.Limits = append(r.Limits, limitOf(limits.Limit{Definition: d, Value: *d.Default, Origin: "default"}))
				}
			}
		}
		return out, nil
	}
}

// described lists rules with their limits.
func described(set *rules.Set, lim limits.Set) *pb.ListRulesResponse {
	digest := set.Digest()
	out := &pb.ListRulesResponse{RulesSha256: digest[:]}
	for _, d := range set.Rules() {
		r := &pb.Rule{RuleId: d.ID, Title: d.Title, Description: d.Description, Actions: d.Actions, RequiredFor: d.RequiredFor, Needs: d.Needs}
		for _, l := range lim.All() {
			if l.Rule == d.ID {
				r.Limits = append(r.Limits, limitOf(l))
			}
		}
		out.Rules = append(out.Rules, r)
	}
	return out
}

func limitOf(l limits.Limit) *pb.Limit {
	value := l.Value
	return &pb.Limit{Name: l.Name, Value: &value, Bound: l.Bound, SmallerIsSafer: l.SmallerIsSafer, Origin: l.Origin}
}

// checkFile is rpc's CheckRig: a file without the files it may name.
func checkFile(name string, content []byte) *pb.CheckRigResponse {
	if name == "" {
		name = "rig file"
	}
	r, faults := rig.Parse(name, content, nil)
	out := &pb.CheckRigResponse{}
	for _, f := range faults {
		out.Faults = append(out.Faults, &pb.FileFault{Line: uint32(f.Line), Key: f.Key, Wanted: f.Wanted, Got: f.Got, Remedy: f.Remedy})
	}
	if r == nil {
		return out
	}
	if err := limitsFit(r, name); err != nil {
		out.Faults = append(out.Faults, &pb.FileFault{Key: "limits", Wanted: "limits that only tighten", Got: err.Error(), Remedy: "take out or tighten the limits named"})
		return out
	}
	out.Loads, out.Understood, out.RigSha256 = true, rig.Understood(r), r.Digest[:]
	return out
}
