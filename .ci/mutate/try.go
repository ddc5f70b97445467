package main

import (
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"
	"sync"
	"time"
)

// trier tells what becomes of a mutant.
type trier interface {
	try(m *mutant, env ...string) error
}

// try tries the lot until the time is up, and returns what was tried. It ends at once where a suite is red by itself.
func try(lot []*mutant, trials map[string]trier, o options, began time.Time, out io.Writer) ([]*mutant, error) {
	var mu sync.Mutex
	var tried []*mutant
	var red error
	over := func() bool {
		mu.Lock()
		defer mu.Unlock()
		return red != nil || o.ctx.Err() != nil || o.within > 0 && time.Since(began) > o.within
	}
	inParallel(o.jobs, len(lot), func(i int) {
		m := lot[i]
		if over() {
			return
		}
		if m.outcome != unviable {
			start := time.Now()
			err := trials[m.room].try(m)
			if errors.Is(err, errRed) {
				mu.Lock()
				defer mu.Unlock()
				red = err
				return
			}
			if err != nil {
				m.outcome, m.by = survived, "could not be tried: "+err.Error()
			}
			m.took = time.Since(start)
		}
		mu.Lock()
		defer mu.Unlock()
		tried = append(tried, m)
		if !o.quiet {
			fmt.Fprintf(out, "%5d/%d %-9s %s | %s | %s  (%s, %.1f s)\n", len(tried), len(lot), m.outcome, m.place(), m.text, m.change, m.by, m.took.Seconds())
		}
	})
	sort.Slice(tried, func(i, j int) bool {
		a, b := tried[i], tried[j]
		return a.file < b.file || a.file == b.file && (a.line < b.line || a.line == b.line && a.id < b.id)
	})
	return tried, red
}

func (o outcome) String() string {
	return map[outcome]string{untried: "untried", killed: "killed", timedOut: "timed out", unviable: "unviable", survived: "SURVIVED"}[o]
}

// goTrier tries a room's mutants with its suites, its own first.
type goTrier struct {
	budget  time.Duration
	suites  []*suite
	mu      sync.Mutex
	killers map[string]string // by function: the test that noticed last
}

func newGoTrier(r room, o options, scratch string) *goTrier {
	t := &goTrier{budget: o.budget, killers: map[string]string{}}
	for i, dir := range r.tests {
		if i > 0 && o.own {
			break
		}
		t.suites = append(t.suites, newSuite(o, dir, scratch, false))
	}
	return t
}

func (g *goTrier) try(m *mutant, env ...string) error {
	m.outcome, m.by = survived, "reached by no test"
	spent := time.Duration(0)
	for _, s := range g.suites {
		if err := s.ready(); err != nil {
			return err
		}
		for _, batch := range batches(g.order(s, m)) {
			if m.by = ""; g.budget > 0 && spent > g.budget {
				m.by = "given up: there are more tests"
				return nil
			}
			spent += sum(batch)
			r := s.run(batch, limit(batch), append(env, fmt.Sprintf("%s=%d", envOn, m.id))...)
			if r.failed {
				m.outcome, m.by = killed, r.by
				if r.late {
					m.outcome = timedOut
				}
				g.noticed(m, r.by)
				return nil
			}
		}
	}
	return nil
}

func (g *goTrier) noticed(m *mutant, by string) {
	name, _, _ := strings.Cut(by, "/")
	g.mu.Lock()
	defer g.mu.Unlock()
	g.killers[m.file+m.fn] = name
}

// order is the tests that reach a mutant, the last to notice one of the same function first, then the quickest.
func (g *goTrier) order(s *suite, m *mutant) []*test {
	g.mu.Lock()
	first := g.killers[m.file+m.fn]
	g.mu.Unlock()
	var out []*test
	for _, t := range s.tests {
		switch {
		case !t.reaches(m.id):
		case t.name == first:
			out = append([]*test{t}, out...)
		default:
			out = append(out, t)
		}
	}
	return out
}

// batches cuts tests into runs of about one second, four, sixteen.
func batches(tests []*test) [][]*test {
	var out [][]*test
	var now []*test
	sum, most := time.Duration(0), time.Second
	for _, t := range tests {
		if len(now) > 0 && sum+t.took > most {
			out, now, sum, most = append(out, now), nil, 0, 4*most
		}
		now, sum = append(now, t), sum+t.took
	}
	if len(now) > 0 {
		out = append(out, now)
	}
	return out
}

// limit is how long a run may take before it counts as never ending: much longer than it ever took, for the machine may be busy.
func limit(batch []*test) time.Duration {
	return (10*time.Second + 6*sum(batch)).Round(time.Second)
}

func sum(tests []*test) (all time.Duration) {
	for _, t := range tests {
		all += t.took
	}
	return all
}
