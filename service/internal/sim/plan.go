package sim

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/unit"
)

// fault is one kind of thing that goes wrong. It draws what it needs, and plans its own end.
type fault struct {
	name  string
	often int // how often against the others
	does  func(*night)
}

// faultsOf are all of them.
func faultsOf() []fault {
	return []fault{
		{"power cut", 3, func(n *night) { n.crash(true) }},
		{"kill", 3, func(n *night) { n.crash(false) }},
		{"dies at an operation", 6, (*night).diesAtAnOperation},
		{"stop and start", 1, (*night).stopAndStart},
		{"wall clock set", 2, (*night).wallClock},
		{"disk full", 2, func(n *night) { n.disk(faults.NoSpace, 0, faults.Writing, faults.Truncating) }},
		{"disk fails", 2, func(n *night) {
			n.disk(faults.Fails, 0, faults.Writing, faults.Syncing, faults.Reading, faults.Opening)
		}},
		{"one sync fails", 2, func(n *night) { n.disk(faults.Fails, 1, faults.Syncing) }},
		{"one write fails", 2, func(n *night) { n.disk(faults.Fails, 1, faults.Writing) }},
		{"slow disk", 2, (*night).slowDisk},
		{"storm", 4, (*night).storm},
		{"lock", 3, (*night).lock},
		{"program dies", 3, (*night).programDies},
		{"second program", 3, (*night).secondProgram},
		{"false solve", 3, func(n *night) { n.field().falsely += 1 + n.rng.IntN(2) }},
		{"slip", 2, func(n *night) {
			n.field().slip(n.turn(1, 15), "the clutch slipped")
		}},
		{"lost steps", 2, func(n *night) { n.field().slip(n.turn(0.05, 0.6), "steps were lost") }},
		{"mount restarts", 2, (*night).mountRestarts},
		{"hand controller", 3, (*night).handController},
		{"mount clock wrong", 2, (*night).mountClock},
		{"silent mount", 2, (*night).silent},
		{"second service", 1, (*night).secondService},
		{"foreign sync", 2, (*night).foreignSync},
	}
}

// draw draws one, by how often.
func draw(rng *rand.Rand, all []fault) fault {
	sum := 0
	for _, f := range all {
		sum += f.often
	}
	k := rng.IntN(sum)
	for _, f := range all {
		if k -= f.often; k < 0 {
			return f
		}
	}
	return all[0]
}

// turn draws a turn of both axes, either way, between two angles in degrees.
func (n *night) turn(least, most float64) rig.Axes {
	a := func() float64 {
		return math.Copysign(least+(most-least)*n.rng.Float64()*n.rng.Float64(), n.rng.Float64()-0.5)
	}
	return rig.DegAxes(a(), a())
}

// field draws a rig.
func (n *night) field() *field { return n.fields[n.rng.IntN(len(n.fields))] }

// crash ends the service's process, with its machine's power or alone, and starts it again.
func (n *night) crash(power bool) {
	if n.site.up == nil {
		return
	}
	if power {
		n.count.Cuts++
		n.site.drive.CutPower(n.rng, n.rng.Float64(), faults.Files(n.site.path))
	} else {
		n.count.Kills++
		n.site.drive.Kill()
	}
	n.died(power)
}

// died is what follows a death of the process.
func (n *night) died(power bool) {
	n.w.say("the service died, power cut %v", power)
	n.site.order(func(o *orders) { o.dieIn = 0 })
	if power {
		n.site.boots++
		n.site.booted = n.w.now()
	}
	n.site.end()
	n.w.in(between(n.rng, 2*time.Second, 90*time.Second), n.startAgain)
}

// startAgain starts the service, as often as it takes.
func (n *night) startAgain() {
	if n.site.up != nil {
		return
	}
	if !n.site.quiet() {
		n.w.in(time.Second, n.startAgain)
		return
	}
	if n.site.drive.Dead() {
		n.site.drive.Start()
	}
	err := n.site.start()
	n.count.Starts++
	if n.dead() { // it died while it started: power cut during recovery
		n.w.say("the service died while it started: %v", err)
		if n.rng.IntN(2) == 0 {
			n.site.drive.CutPower(n.rng, n.rng.Float64(), faults.Files(n.site.path))
		}
		n.died(false)
		return
	}
	if err != nil {
		n.w.say("the service does not start: %v", err)
		if n.refused++; n.refused > 3 && !n.site.failing() { // an order of one failure is met by one start
			n.w.broken("the service does not start: %v", err)
			return
		}
		n.w.in(15*time.Second, n.startAgain)
		return
	}
	n.refused = 0
	n.w.say("the service started")
	n.judge.witnessed(nil)
	n.judge.allOver("", "the service was restarted")
}

// dead tells whether the disk saw the process die.
func (n *night) dead() bool { return n.site.drive.Dead() }

// diesAtAnOperation lets the process end at one of the next operations that change the disk, before or after it, sometimes with the power.
func (n *night) diesAtAnOperation() {
	at := faults.Dies
	if n.rng.IntN(2) == 0 {
		at = faults.DiesAt
	}
	k := 1 + n.rng.IntN(60)
	n.power = n.rng.IntN(2) == 0
	n.site.order(func(o *orders) { o.dieIn, o.dieAt = k, at })
	if n.rng.IntN(3) == 0 { // and again while it recovers
		n.again = 1 + n.rng.IntN(25)
	}
}

func (n *night) stopAndStart() {
	if n.site.up != nil {
		n.site.end()
		n.w.in(between(n.rng, 2*time.Second, 20*time.Second), n.startAgain)
	}
}

// wallClock sets the service's clock, and after a while sets it right.
func (n *night) wallClock() {
	by := []time.Duration{-time.Hour, time.Hour, 24 * time.Hour, -7 * time.Second, 3 * time.Second, -3 * time.Minute}[n.rng.IntN(6)]
	n.site.wall += by
	n.w.say("wall clock set by %s", by)
	n.w.in(between(n.rng, 10*time.Second, 20*time.Minute), func() {
		if !n.quiet { // else it was set right when the faults ended
			n.site.wall -= by
			n.w.say("wall clock set right")
		}
	})
}

// disk lets operations fail: so many, or for a while.
func (n *night) disk(fate faults.Fate, times int, on ...faults.Op) {
	n.site.order(func(o *orders) { o.mode, o.left, o.on = fate, times, on })
	if times == 0 {
		n.w.in(between(n.rng, 2*time.Second, 4*time.Minute), func() {
			n.site.order(func(o *orders) { o.mode = faults.Works })
			n.w.say("the disk works again")
		})
	}
}

// slowDisk makes every sync slow for a while.
func (n *night) slowDisk() {
	slow := between(n.rng, 200*time.Millisecond, 12*time.Second) + 7*time.Nanosecond
	n.site.order(func(o *orders) { o.slow = slow })
	n.w.say("syncs take %s", slow)
	n.w.in(between(n.rng, 20*time.Second, 3*time.Minute), func() { n.site.order(func(o *orders) { o.slow = 0 }) })
}

// storm makes the network bad for a while.
func (n *night) storm() {
	n.wires.habit = habits{lose: 0.4 * n.rng.Float64(), double: 0.4 * n.rng.Float64(), least: time.Millisecond, most: between(n.rng, 100*time.Millisecond, 5*time.Second)}
	n.w.say("the network is bad: %+v", n.wires.habit)
	n.w.in(between(n.rng, time.Minute, 20*time.Minute), func() { n.wires.habit = n.usual })
}

// lock lets a person lock a rig, or all, and release it later.
func (n *night) lock() {
	r := &pb.LockRequest{RequestId: n.id("lock"), Person: "M. Rowan", Reason: "somebody is in there", Scope: &pb.LockRequest_AllRigs{AllRigs: true}}
	name := ""
	if n.rng.IntN(3) > 0 {
		name = n.field().rig.ID
		r.Scope = &pb.LockRequest_Rig{Rig: name}
	}
	n.request(lock, r, func(raw []byte) {
		out := &pb.LockResponse{}
		if proto.Unmarshal(raw, out) != nil {
			return
		}
		n.judge.allOver(name, "it was locked")
		free := &pb.ReleaseRequest{RequestId: n.id("release"), LockIds: []string{out.GetLock().GetLockId()}, Person: "M. Rowan", Reason: "gone again"}
		n.w.in(between(n.rng, time.Minute, 10*time.Minute), func() { n.request(release, free, func([]byte) {}) })
	})
}

// request sends one request of a person, a few times if nothing comes back.
func (n *night) request(method string, m proto.Message, got func([]byte)) {
	raw, err := proto.Marshal(m)
	if err != nil {
		n.w.broken("a request cannot be encoded: %v", err)
		return
	}
	done := false
	for i := range 3 {
		n.w.in(time.Duration(i)*6*time.Second, func() {
			if !done {
				n.wires.send(context.Background(), method, raw, func(b []byte, err error) {
					if !done && err == nil {
						done = true
						got(b)
					}
				})
			}
		})
	}
}

func (n *night) id(what string) string {
	n.ids++
	return fmt.Sprintf("person-%s-%012d", what, n.ids)
}

// programDies ends a program where it stands, what its rig file says stops the mount stops it, and another one begins later.
func (n *night) programDies() {
	i := n.rng.IntN(len(n.programs))
	p := n.programs[i]
	if p.gone || p.calm {
		return
	}
	p.die()
	n.w.say("%s died", p.name)
	if f := p.f; f.rig.Stop.Kind == rig.PowerRelay {
		n.w.in(time.Duration(f.rig.Stop.AfterS*float64(time.Second)), func() {
			if n.programs[i] == p && (f.mount.Moving(n.w.now()) || f.mount.Following(n.w.now())) {
				f.touch(f.mount.PowerDip)
				f.rests()
				n.w.say("the relay of %s dropped", f.rig.ID)
			}
		})
	}
	n.w.in(between(n.rng, 90*time.Second, 10*time.Minute), func() { n.programs[i] = n.begin(p.f, (*program).goesOn) })
}

// goesOn is the night of a program that was started anew: it does not know what went before.
func (p *program) goesOn() {
	p.f.stop()
	p.report(&pb.ReportRequest{})
	p.night()
}

// secondProgram lets another program ask for the same rig a few times. It is told no, or does nothing with its leave and says so.
func (n *night) secondProgram() {
	f := n.field()
	other := n.newProgram(f)
	n.w.act("other-"+f.rig.ID, func(a *actor) {
		other.actor = a
		for range 3 {
			o := other.ask(another(n.rng))
			if id := o.reply.GetPermit().GetPermitId(); id != "" {
				other.sleep(between(n.rng, time.Second, 30*time.Second))
				other.permit = id
				other.end(pb.EndKind_END_KIND_NOT_MOVED)
			}
			other.sleep(between(n.rng, time.Second, 3*time.Minute))
		}
		other.report(&pb.ReportRequest{})
	})
}

// secondService starts another one on the same record, which must be refused.
func (n *night) secondService() {
	if n.site.up == nil {
		return
	}
	if r, err := record.Open(n.site.path, record.Options{Store: store.Options{Wrap: n.site.drive.Wrap(n.site.path)}}); !errors.Is(err, store.ErrInUse) {
		n.w.broken("a second service on one record: %v", err)
		_ = r.Close()
	}
}

func (n *night) mountRestarts() {
	f := n.field()
	f.touch(f.mount.PowerDip)
	f.rests()
	if !f.rig.Mount.RunMark && !f.encoders() {
		f.deceived = "the mount restarted, which it tells nobody"
	}
}

// handController moves a rig with nobody told.
func (n *night) handController() {
	f := n.field()
	if f.mount.Moving(n.w.now()) {
		return
	}
	by := n.turn(0.3, 8)
	f.rests()
	f.touch(func(at time.Time) { f.mount.Jog(at, by, nil, n.rng.IntN(2) == 0) })
}

// foreignSync tells a mount another place than it points at, with nobody asked.
func (n *night) foreignSync() {
	f := n.field()
	if f.mount.Moving(n.w.now()) {
		return
	}
	by := n.turn(0.5, 12)
	f.touch(func(at time.Time) {
		ra, dec, _ := f.mount.Belief(at)
		f.mount.Sync(at, (ra + by.A1).Positive(), min(max(dec+by.A2, -80*unit.Degree), 80*unit.Degree))
	})
	if f.rig.Sources[0].Kind == rig.UnsyncedBelief && !f.rig.Mount.CountsSyncs {
		f.deceived = "another program synced the mount, of which the file says that none does"
	}
}

// mountClock sets a mount's clock wrong, and later right.
func (n *night) mountClock() {
	f := n.field()
	f.look()
	f.mount.ClockAhead = between(n.rng, time.Minute, time.Hour)
	n.w.in(between(n.rng, 5*time.Minute, 40*time.Minute), func() { f.look(); f.mount.ClockAhead = 0 })
}

// silent stops a mount's telemetry for a while.
func (n *night) silent() {
	f := n.field()
	f.mount.Silent = true
	n.w.in(between(n.rng, 3*time.Second, 5*time.Minute), func() { f.mount.Silent = false })
}
