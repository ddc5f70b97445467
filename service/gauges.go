package main

import (
	"sync"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/unit"
)

// gauged is a rig that can be held against its file, with the plan of that.
type gauged struct {
	subject func() *gauge.Subject
	mu      sync.Mutex
	plan    *gauge.Plan // nil: not worked out yet
}

// gauger plans gauges of rigs, each once when it is first asked for: that takes a second or two. files are those that the members were read from,
// in their order; without them no length can be told to be wrong. What was stopped is planned anew when it is next asked for.
func gauger(members []decide.Member, files []rigFile) func(string, func() bool) (*gauge.Subject, gauge.Plan, error) {
	all, names := map[string]*gauged{}, []string{}
	for i, m := range members {
		var f rigFile
		if len(files) == len(members) {
			f = files[i]
		}
		part, _ := m.Limits.Value("clear/path", "part_mm")
		general, _ := m.Limits.Value("clear/path", "general_mm")
		all[m.Rig.ID] = &gauged{subject: sync.OnceValue(func() *gauge.Subject { // not at every start: it reads the file again
			subject := gauge.New(m.Rig, unit.Length(part), unit.Length(general), f.name, f.content, f.open)
			if floor, ok := m.Limits.Value("sky/floor", "altitude_deg"); ok {
				subject.Floor = unit.Deg(floor)
			}
			return subject
		})}
		names = append(names, m.Rig.ID)
	}
	return func(name string, going func() bool) (*gauge.Subject, gauge.Plan, error) {
		one := all[name]
		if one == nil {
			return nil, gauge.Plan{}, decide.NoRig(name, names)
		}
		plan, err := one.planned(going)
		return one.subject(), plan, err
	}
}

func (g *gauged) planned(going func() bool) (gauge.Plan, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.plan == nil {
		plan, err := g.subject().Plan(going)
		if err != nil {
			return plan, err
		}
		g.plan = &plan
	}
	return *g.plan, nil
}
