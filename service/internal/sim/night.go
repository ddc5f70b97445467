package sim

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Breaks are deliberate faults of the product, or of what it may count on, for canaries: the simulation must find each.
type Breaks struct {
	DiskLies          bool // the disk says that it synced, and did not
	ForgetsToWithdraw bool // leave survives a restart
	RulesPass         bool // every rule passes, and programs point anywhere
	SlipsCount        bool // a slip that no source shows is counted against the pose all the same
}

// Plan is what a night is played from.
type Plan struct {
	Seed    uint64
	Members Members
	Dir     string // a folder of its own
	Quiet   bool   // no faults
	Only    string // these faults alone, and several of them; empty: any
	Keep    bool   // the lines of the history
	Breaks  Breaks
}

// Result is what a night came to.
type Result struct {
	Wrong  []string // what must not be; empty: all is well
	Digest string   // of the history
	Lines  []string // the history, where kept
	Length time.Duration
	Rigs   []string
	Faults []string
	Count
}

// night is one night.
type night struct {
	plan     Plan
	w        *world
	rng      *rand.Rand // of faults
	site     *site
	wires    *wires
	judge    *judge
	person   *person
	fields   []*field
	programs []*program
	usual    habits
	count    *Count
	ids      int
	power    bool // the next death at an operation takes the power with it
	again    int  // the operation at which it dies while it recovers; 0: it does not
	refused  int  // starts in a row that came to nothing
	drawn    []string
	quiet    bool
}

// stream is a source of lots of its own: what one part of a night draws moves no other.
func stream(seed, part uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, part)) }

// Without faults the end of a night goes on for so long, and programs begin no more targets so long before it ends.
const (
	calmFor    = 100 * time.Minute
	quitBefore = 65 * time.Minute
)

// Run plays a night in the bubble in which it is called.
func Run(p Plan, b Bubble) (Result, error) {
	rng := stream(p.Seed, 1)
	all := groups()
	g := all[rng.IntN(len(all))]
	n := &night{plan: p, w: newWorld(b, g.start, p.Keep), rng: rng}
	if err := n.build(g); err != nil {
		return Result{}, err
	}
	length := time.Duration(g.hours) * time.Hour
	calm := length - calmFor
	n.w.in(length-quitBefore, func() { n.each(func(p *program) { p.quit = true }) })
	n.w.in(calm, n.calmDown)
	if !p.Quiet {
		n.planFaults(calm)
	}
	n.round()
	n.w.run(g.start.Add(length))
	n.finish()
	return Result{Wrong: n.w.wrong, Digest: fmt.Sprintf("%x", n.w.digest.Sum(nil)), Lines: n.w.lines, Length: length, Rigs: g.rigs, Faults: n.drawn, Count: *n.count},
		n.site.drive.Close()
}

// build makes the night's parts.
func (n *night) build(g group) error {
	var members, honest []decide.Member
	for _, name := range g.rigs {
		m := n.plan.Members[name]
		honest = append(honest, m)
		if n.plan.Breaks.RulesPass {
			m.Rules = passes{m.Rules}
		}
		members = append(members, m)
	}
	var err error
	if n.site, err = newSite(n.w, stream(n.plan.Seed, 2), filepath.Join(n.plan.Dir, "record"), members, n.plan.Breaks); err != nil {
		return err
	}
	n.wires = &wires{w: n.w, s: n.site, rng: stream(n.plan.Seed, 3), habit: calm}
	n.judge = newJudge(n.w, n.site, n.wires, honest)
	n.wires.judge, n.count = n.judge, &n.judge.count
	n.usual = calm
	n.w.after = n.look
	n.person = &person{w: n.w, x: n.wires, rng: stream(n.plan.Seed, 4), name: "R. Alder"}
	if err := n.site.start(); err != nil {
		return err
	}
	for i, m := range members {
		f := newField(n.w, stream(n.plan.Seed, 10+uint64(i)), m)
		n.fields = append(n.fields, f)
		n.person.asks = append(n.person.asks, "main-"+m.Rig.ID, "other-"+m.Rig.ID)
		n.programs = append(n.programs, n.begin(f, (*program).night))
	}
	return nil
}

// begin starts a program for a rig.
func (n *night) begin(f *field, life func(*program)) *program {
	p := n.newProgram(f)
	n.w.act("main-"+f.rig.ID, func(a *actor) {
		p.actor = a
		life(p)
	})
	return p
}

func (n *night) newProgram(f *field) *program {
	rng := f.rng
	f.strict = n.plan.Breaks.SlipsCount
	return &program{f: f, rash: n.plan.Breaks.RulesPass, x: n.wires, rng: rng, person: n.person, told: "R. Alder", later: rng.IntN(3) == 0, ids: &n.ids, calm: n.quiet,
		skew: time.Duration(rng.IntN(800)-400) * time.Millisecond}
}

func (n *night) each(do func(*program)) {
	for _, p := range n.programs {
		do(p)
	}
}

// planFaults draws what goes wrong, and when.
func (n *night) planFaults(before time.Duration) {
	k, all := n.rng.IntN(9), faultsOf()
	if n.plan.Only != "" {
		k = 4
		all = slices.DeleteFunc(all, func(f fault) bool { return f.name != n.plan.Only })
	}
	var at time.Duration
	for i := range k {
		f := draw(n.rng, all)
		if i == 0 || n.rng.IntN(3) > 0 {
			at = between(n.rng, time.Minute, before-10*time.Minute)
		} else { // most catastrophes take two or three things at once
			at += between(n.rng, 0, 3*time.Minute)
		}
		n.w.in(at, func() {
			n.w.say("fault: %s", f.name)
			n.drawn = append(n.drawn, f.name)
			f.does(n)
		})
	}
}

// calmDown ends every fault: from here on the night must become an ordinary one.
func (n *night) calmDown() {
	n.w.say("the faults are over")
	n.quiet = true
	n.site.order(func(o *orders) { o.mode, o.slow, o.dieIn = 0, 0, 0 })
	n.again = 0
	n.wires.habit, n.usual = calm, calm
	n.site.wall = 0
	for _, f := range n.fields {
		f.look()
		f.falsely, f.mount.ClockAhead, f.mount.Silent = 0, 0, false
	}
	n.each(func(p *program) { p.calm, p.cycle = true, 0 })
}

// roundEvery is how often the service makes its own round here. It makes it every second; a night would be little else.
const roundEvery = 20 * time.Second

func (n *night) round() {
	n.site.round()
	n.w.in(roundEvery, n.round)
}

// look is done after each event: deaths of the service are noticed, and replies go on their way.
func (n *night) look() {
	if n.site.up != nil && n.dead() {
		if n.power {
			n.count.Cuts++
			n.site.drive.CutPower(n.rng, n.rng.Float64(), faults.Files(n.site.path))
		} else {
			n.count.Kills++
		}
		n.died(n.power)
		if again := n.again; again > 0 {
			n.again = 0
			n.site.order(func(o *orders) { o.dieIn = again })
		}
		n.power = false
	}
	n.wires.collect()
}

// finish judges the whole night.
func (n *night) finish() {
	for _, f := range n.fields {
		f.look()
	}
	for i, p := range n.programs {
		if p.cycle < 3 {
			n.w.broken("%s did not recover after the faults were over: %d of 3 steps", n.programs[i].name, p.cycle)
		}
		p.die()
	}
	n.wires.habit = calm
	if n.site.up == nil {
		n.w.broken("the service is not up at the end")
		return
	}
	n.site.up.d.LapseAll() // what is looked at has lapsed already: let the record have it, too
	n.w.bubble.Sleep(time.Second)
	n.judge.end(n.fields)
	n.site.end()
	for !n.site.quiet() {
		n.w.bubble.Sleep(time.Second)
	}
}

// another is what a second program asks for.
func another(rng *rand.Rand) question.Action {
	by := rig.DegAxes(1, 1)
	switch rng.IntN(4) {
	case 0, 1:
		return question.Action{Kind: question.Track, Follow: 10 * time.Minute}
	case 2:
		by = oneAxis(rng)
		return question.Action{Kind: question.Creep, Axes: &by, Rate: slowly()}
	}
	return question.Action{Kind: question.Jog, Axes: &by, Rate: slowly()}
}
