package main

import (
	"sync"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/unit"
)

// gauged is a rig that can be held against its file, with the plan of that.
type gauged struct {
	subject *gauge.Subject
	plan    gauge.Plan
}

// gauger plans gauges of rigs, each once when it is first asked for: that takes a second or two. files are those that the members were read from,
// in their order; without them no length can be told to be wrong.
func gauger(members []decide.Member, files []rigFile) func(string) (*gauge.Subject, gauge.Plan, error) {
	all := map[string]func() gauged{}
	for i, m := range members {
		var f rigFile
		if len(files) == len(members) {
			f = files[i]
		}
		all[m.Rig.ID] = sync.OnceValue(func() gauged {
			part, _ := m.Limits.Value("clear/path", "part_mm")
			general, _ := m.Limits.Value("clear/path", "general_mm")
			s := gauge.New(m.Rig, unit.Length(part), unit.Length(general), f.name, f.content, f.open)
			return gauged{s, s.Plan()}
		})
	}
	return func(name string) (*gauge.Subject, gauge.Plan, error) {
		one := all[name]
		if one == nil {
			return nil, gauge.Plan{}, decide.ErrNoRig
		}
		g := one()
		return g.subject, g.plan, nil
	}
}
