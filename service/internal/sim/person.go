package sim

import (
	"math/rand/v2"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// person looks after rigs: comes when a program cannot go on, and puts right what only a person can.
type person struct {
	w    *world
	x    *wires
	rng  *rand.Rand
	name string
	asks []string // the names of the programs whose reports may be missing
}

// comes lets a program wait until somebody came and put its rig right: stopped it, released every lock, said in each program's name what
// is so, looked where the axes stand, and proved the file again.
func (r *person) comes(p *program) {
	p.w.say("%s calls a person", p.name)
	p.f.stop() // it waits for somebody, and no leave may last so long
	p.visits++
	p.sleep(between(r.rng, 2*time.Minute, 8*time.Minute))
	p.withdraw()
	r.release(p)
	own := p.name
	for _, name := range r.asks {
		p.actor.name = name
		p.report(&pb.ReportRequest{})
	}
	p.actor.name = own
	if p.trapped || p.visits > 2 {
		r.turns(p)
	}
	p.f.look()
	at := p.f.mount.Axes(p.w.now())
	seen := &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: r.name, Axes: pairOf(at)}
	if out, ok := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: seen}}); ok && out.GetHomingId() != "" {
		p.f.deceived = ""
	}
	p.prove(r.name)
}

// turns opens the clutches of a rig that no permitted motion leads out of where it is, and turns it home by hand.
func (r *person) turns(p *program) {
	p.w.say("%s turns %s home by hand", r.name, p.f.rig.ID)
	p.trapped, p.visits = false, 0
	p.f.rests()
	p.f.touch(func(at time.Time) { p.f.mount.Slip(at, p.f.rig.Home.Sub(p.f.mount.Axes(at))) })
	p.x.judge.count.Trapped++
	if !p.f.encoders() {
		p.f.deceived = "its clutches were opened, and the service does not know of it yet"
	}
	for range 40 { // what no source shows is told until it was heard
		if _, heard := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLUTCH_OPENED, Person: r.name}}}); heard {
			p.f.deceived = ""
			return
		}
		p.sleep(10 * time.Second)
	}
}

// release releases every lock of the program's rig.
func (r *person) release(p *program) {
	have := &pb.GetRigResponse{}
	if !p.call(r.x, getRig, &pb.GetRigRequest{Rig: p.f.rig.ID}, have) {
		return
	}
	var ids []string
	for _, l := range have.GetRig().GetLocks() {
		ids = append(ids, l.GetLockId())
	}
	if len(ids) > 0 {
		p.call(r.x, release, &pb.ReleaseRequest{RequestId: p.id("release"), LockIds: ids, Person: r.name, Reason: "looked at it"}, &pb.ReleaseResponse{})
	}
}

// prove says that the rig file fits the rig.
func (p *program) prove(name string) {
	residual := 4.0
	digest := p.f.rig.Digest
	p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: name, RigSha256: digest[:], SignsChecked: true, ResidualMm: &residual}}})
}
