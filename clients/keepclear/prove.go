package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// errStopped is the class of evenings that end before their end: what was answered is kept.
var errStopped = errors.New("stopped")

// nearEnough is how far from a pose the axes may stand, as the service holds them, for its gaps to be measured; what is judged goes by where they
// stand. Choice: the creep for which the plan's ways are proven.
const nearEnough = 1.0

// freshPose is how old a pose may be to say where the axes stand now. Common practice, no source: a mount at rest stays there for so long.
const freshPose = 30 * time.Second

// planning is how long the plan may take: the service works it out when it is first asked, and on a small board it takes a while. As long as the
// service takes for anything.
const planning = 20 * time.Second

// proof is one person's evening of holding a rig against its file.
type proof struct {
	*call
	rig    string
	person string
	plan   *pb.PlanGaugesResponse
	kept   kept
	gauges pb.GaugeServiceClient
	conn   *grpc.ClientConn
	lines  <-chan string
	sent   bool // the report was, or may have been
	steps  int  // asked or taken up so far
	blind  bool // it was said that the service does not know where the axes are
}

// say writes a sentence or more, broken between words where a page ends.
func (p *proof) say(format string, args ...any) {
	line := ""
	for _, w := range strings.Split(fmt.Sprintf(format, args...), " ") {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > columns {
			fmt.Fprintln(p.out, line)
			line = ""
		} else if line != "" {
			line += " "
		}
		line += w
	}
	fmt.Fprintln(p.out, line)
}

// prove leads a person through the proof of a rig file. It asks and moves nothing.
func prove(k *call) (int, error) {
	person := k.flags.String("person", "", "`NAME` of who looks and measures; absent: asked at the end")
	file := k.flags.String("answers", "", "`FILE` for the answers so far; absent: in your configuration folder")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	switch {
	case len(words) != 1:
		return 0, wrong("one rig is wanted")
	case *k.json:
		return 0, wrong("prove is a talk with a person: it takes no --json")
	}
	p := &proof{call: k, rig: words[0], person: *person}
	p.kept.now = k.now
	if p.kept.file, err = answersFile(*file, p.rig); err != nil {
		return 0, err
	}
	if p.conn, err = k.dialFor(&pb.PlanGaugesRequest{Rig: p.rig}); err != nil {
		return 0, err
	}
	p.gauges = pb.NewGaugeServiceClient(p.conn)
	ctx, cancel := context.WithTimeout(k.ctx, planning)
	defer cancel()
	p.say("Working out what to measure …")
	if p.plan, err = p.gauges.PlanGauges(ctx, &pb.PlanGaugesRequest{Rig: p.rig}); err != nil {
		return 0, err
	}
	p.lines = lines(k.in)
	return p.ended(p.run())
}

// ended says of an evening that was broken off what became of it.
func (p *proof) ended(code int, err error) (int, error) {
	switch {
	case err == nil || !errors.Is(err, errStopped) && p.ctx.Err() == nil:
		return code, err
	case p.sent:
		p.say("")
		p.say("Stopped while it was being reported: keepclear rigs %s tells whether a proof is still needed.", p.rig)
	default:
		p.say("")
		p.say("Stopped; nothing was reported. What was answered is kept in %s, and the same command goes on from there.", p.kept.file)
	}
	return exitHold, nil
}

// answersFile is where the answers of a rig are kept.
func answersFile(given, rig string) (string, error) {
	if given != "" {
		return given, nil
	}
	base, err := os.UserConfigDir()
	if err != nil {
		return "", wrong("there is no configuration folder (%v): name a file with --answers", err)
	}
	return filepath.Join(base, "keepclear", "prove-"+rig+".json"), nil
}

// run is the evening, from its words at the start to the report.
func (p *proof) run() (int, error) {
	if why := p.cannot(); why != "" {
		p.say("%s cannot be proved: %s.", p.rig, why)
		return exitCheck, nil
	}
	p.greet()
	if err := p.takeUp(); err != nil {
		return 0, err
	}
	for _, s := range p.plan.GetSignSteps() {
		if code, err := p.sign(s); code != exitDone || err != nil {
			return code, err
		}
	}
	for _, g := range p.plan.GetGaugePoses() {
		if err := p.pose(g); err != nil {
			return 0, err
		}
	}
	return p.finish()
}

// cannot says why a plan leaves too little to prove a rig by; empty: it does not.
func (p *proof) cannot() string {
	axes := map[uint32]bool{}
	for _, s := range p.plan.GetSignSteps() {
		axes[s.GetAxis()] = true
	}
	switch {
	case !axes[1] || !axes[2]:
		return "from home no turn of each axis by a few degrees was found that is clear and that shows which way it goes; make room at home, or look at the file with check"
	case len(p.plan.GetGaugePoses()) == 0:
		return p.plan.GetShortBecause()
	}
	return ""
}

// greet says what is to come.
func (p *proof) greet() {
	gaps := 0
	for _, g := range p.plan.GetGaugePoses() {
		gaps += len(g.GetGaps())
	}
	p.say("%s: is the rig what its file says? %d things to watch, then %d gaps to measure at %d poses.", p.rig, len(p.plan.GetSignSteps()), gaps, len(p.plan.GetGaugePoses()))
	p.say("This command moves nothing. You do, by the hand controller: slowly, one axis at a time, one hand on the power switch, nobody's fingers between.")
	p.say("Nothing judges what a hand controller does. A program that moves the mount asks for leave: keepclear ask %s slew --axis1 DEG --axis2 DEG --attended-by NAME", p.rig)
	p.say("Answers so far are kept in")
	p.say("%s", p.kept.file)
	p.say("Stop when you like (the word stop, or ctrl-C): the same command goes on from there.")
	if s := p.plan.GetShortBecause(); s != "" {
		p.say("There are few poses: %s.", s)
	}
}

// step heads a step.
func (p *proof) step(format string, args ...any) {
	p.steps++
	all := len(p.plan.GetSignSteps()) + len(p.plan.GetGaugePoses())
	p.say("")
	p.say("%d of %d: %s", p.steps, all, fmt.Sprintf(format, args...))
}

// sign asks about one small turn. An answer that is not as the file says ends the evening: what follows would be measured on another rig than the
// file's.
func (p *proof) sign(s *pb.SignStep) (int, error) {
	if p.kept.sign(s) != nil {
		p.step("%s was as the file says.", signName(s))
		return exitDone, nil
	}
	if s.GetAxis() == 0 {
		p.step("stand the rig at home, axes at %s.", axes(p.plan.GetHome()))
	} else {
		p.step("look where %s is now. Then, from home, turn axis %d by %+.1f°, until the axes read %s.", s.GetWatch(), s.GetAxis(), s.GetTurnDeg(), axes(s.GetAxes()))
	}
	if _, err := p.standing(s.GetAxes()); err != nil {
		return 0, err
	}
	a := &pb.SignAnswer{Axis: s.GetAxis()}
	if err := p.seen(s, a); err != nil {
		return 0, err
	}
	out, err := p.judge(&pb.JudgeGaugesRequest{Signs: []*pb.SignAnswer{a}})
	if err != nil {
		return 0, err
	}
	found := out.GetSigns()[0]
	p.say("%s", found.GetSentence())
	if found.GetCause() != pb.SignCause_SIGN_CAUSE_AS_DESCRIBED {
		return p.disproved("the directions are not as the file says", false, 0)
	}
	if s.GetAxis() != 0 {
		p.say("Turn axis %d back to home.", s.GetAxis())
	}
	return exitDone, p.kept.putSign(s, a)
}

func signName(s *pb.SignStep) string {
	if s.GetAxis() == 0 {
		return "home"
	}
	return fmt.Sprintf("axis %d", s.GetAxis())
}

// seen asks what was seen of a sign step.
func (p *proof) seen(s *pb.SignStep, a *pb.SignAnswer) error {
	none := 0.0
	a.ByMm = &none
	words := []string{"west", "east", "north", "south", "up", "down", "still"}
	if s.GetAxis() == 0 {
		var err error
		a.Toward, err = p.toward(fmt.Sprintf("Seen from above: on which side of where the axes cross is %s?", s.GetWatch()), words[:4])
		return err
	}
	var err error
	if a.Toward, err = p.toward(fmt.Sprintf("Where did %s go, most of all? (Say still if it did not move.)", s.GetWatch()), words); err != nil || a.Toward == pb.Toward_TOWARD_STILL {
		return err
	}
	mm, err := p.length("How far, straight from where it was, in mm? A guess within a third will do.")
	a.ByMm = &mm
	return err
}

// standing waits until the axes stand where a step wants them, and returns where they stand: as the service holds them where it knows, else where
// they should.
func (p *proof) standing(want *pb.AxisPair) (*pb.AxisPair, error) {
	for {
		if _, err := p.line("Press Enter when it stands there."); err != nil {
			return nil, err
		}
		held := p.held()
		switch {
		case held == nil:
			if !p.blind {
				p.say("(No sample says for certain where the axes are now: what the mount shows has to do.)")
			}
			p.blind = true
			return want, nil
		case apart(held, want) <= nearEnough:
			return held, nil
		}
		p.say("The service holds the axes at %s, not at %s. Only the way from home is known to be clear: turn back home first, the way you came, then as told above. If they do stand there, see why they are reported otherwise.", axes(held), axes(want))
	}
}

// held is where the service holds the axes now; nil where it does not know, or only reckons: that sees no hand controller.
func (p *proof) held() *pb.AxisPair {
	ctx, cancel := p.timed()
	defer cancel()
	r, err := pb.NewRigServiceClient(p.conn).GetRig(ctx, &pb.GetRigRequest{Rig: p.rig})
	at := r.GetRig().GetPose()
	if err != nil || at.GetState() != pb.PoseState_POSE_STATE_KNOWN || at.GetSource() == pb.PoseSource_POSE_SOURCE_RECKONED || at.GetAxes() == nil || at.GetPoseTime() == nil || p.now().Sub(at.GetPoseTime().AsTime()).Abs() > freshPose {
		return nil
	}
	return at.GetAxes()
}

func apart(a, b *pb.AxisPair) float64 {
	return max(math.Abs(a.GetAxis1Deg()-b.GetAxis1Deg()), math.Abs(a.GetAxis2Deg()-b.GetAxis2Deg()))
}

func axes(a *pb.AxisPair) string {
	return fmt.Sprintf("(%.1f°, %.1f°)", a.GetAxis1Deg()+0, a.GetAxis2Deg()+0)
}

// judge has answers judged by the plan's revision of the file.
func (p *proof) judge(r *pb.JudgeGaugesRequest) (*pb.JudgeGaugesResponse, error) {
	r.Rig, r.RigSha256 = p.rig, p.plan.GetRigSha256()
	if err := p.checked(r); err != nil {
		return nil, err
	}
	ctx, cancel := p.timed()
	defer cancel()
	return p.gauges.JudgeGauges(ctx, r)
}
