package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// objection is a finding that is in the way; why it lacks its fact, if it does.
func objection(rule string, effect pb.Effect, sentence, remedy, missing string) *pb.Finding {
	f := &pb.Finding{RuleId: rule, Effect: effect, Sentence: sentence, Remedy: remedy}
	if missing != "" {
		f.Fact = &pb.Fact{Value: &pb.Fact_Missing{Missing: missing}}
	}
	return f
}

// Findings that have one cause are told once and counted, so that a person at night reads what to do; as JSON all of them are there.
func TestOneCauseIsToldOnce(t *testing.T) {
	const h, d = pb.Effect_EFFECT_HOLD, pb.Effect_EFFECT_DENY
	unknown := objection("pose/known", h, "The pose is unknown (no homing yet).", "Home the rig.", "")
	same := func(rule string) *pb.Finding {
		return objection(rule, h, "The way is not known: no homing yet.", "Home the rig.", "no homing yet")
	}
	late := objection("pose/fresh", h, "The newest sample is 60 s old.", "Send a new sample.", "")
	skew := objection("time/agree", h, "The clocks differ.", "Set both clocks.", "")
	pass := &pb.Finding{RuleId: "sun/apart", Effect: pb.Effect_EFFECT_PASS}
	for name, c := range map[string]struct {
		findings []*pb.Finding
		want     string
	}{
		"one": {[]*pb.Finding{late, pass}, "What to do: Send a new sample."},
		"one cause": {[]*pb.Finding{unknown, same("clear/path"), pass, same("sky/floor")},
			"What to do: Home the rig.\nFor the same reason 2 more rules hold."},
		"one cause, one more": {[]*pb.Finding{unknown, same("clear/path")},
			"What to do: Home the rig.\nFor the same reason 1 more rule holds."},
		"two causes": {[]*pb.Finding{late, unknown, same("clear/path")},
			"What to do: Send a new sample.\nhold  pose/known: The pose is unknown (no homing yet).\nHome the rig.\nFor the same reason 1 more rule holds."},
		"two causes, one remedy": {[]*pb.Finding{unknown, objection("pose/sharp", h, "Axis 1 is open.", "Home the rig.", "")},
			"What to do: Home the rig.\nhold  pose/sharp: Axis 1 is open."},
		"lacking for a reason of its own": {[]*pb.Finding{late, objection("clear/path", h, "The way is not known: too much work.", "Wait a little.", "too much work")},
			"What to do: Send a new sample.\nhold  clear/path: The way is not known: too much work.\nWait a little."},
		"many": {[]*pb.Finding{objection("sky/floor", d, "Too low.", "Go higher.", ""), late, objection("travel/axis1", d, "Too far.", "Turn back.", ""), skew, unknown, same("clear/path")},
			"What to do: Go higher.\nhold  pose/fresh: The newest sample is 60 s old.\nSend a new sample.\n" +
				"Besides: 1 rule denies, travel/axis1; 3 rules hold, time/agree, pose/known and others (keepclear entries show heron/7 tells why)."},
	} {
		s := &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) {
			return &pb.AskResponse{
				Judgement: &pb.Judgement{Verdict: pb.Verdict_VERDICT_HOLD, Sentence: "Head.", Findings: c.findings}, Receipt: &pb.Receipt{Chain: "heron", Number: 7},
			}, nil
		}}
		address := served(t, s)
		_, out, _ := typed(t, address, "ask heron home")
		assert.Equal(t, "HOLD Head. "+strings.Join(strings.Fields(c.want), " ")+" Entry heron/7", strings.Join(strings.Fields(out), " "), name)
		_, out, _ = typed(t, address, "ask heron home --json")
		all := &pb.AskResponse{}
		require.NoError(t, protojson.Unmarshal([]byte(out), all), name)
		assert.Len(t, all.GetJudgement().GetFindings(), len(c.findings), name)
	}
}

// Beside a deny the hold that it may come of stands second, before another deny.
func TestWhatADenyMayComeOfStandsSecond(t *testing.T) {
	const h, d = pb.Effect_EFFECT_HOLD, pb.Effect_EFFECT_DENY
	j := &pb.Judgement{Verdict: pb.Verdict_VERDICT_DENY, Sentence: "Head.", Findings: []*pb.Finding{
		objection("track/fits", d, "Head.", "Ask for less.", ""), objection("travel/axis1", d, "Too far.", "Turn back.", ""),
		objection("asker/fallback", h, "Nothing stops it.", "Declare it.", ""), objection("mount/map", h, "The clock is off.", "Set it.", ""),
	}}
	var page bytes.Buffer
	k := &call{out: &page}
	k.printCauses(j, "--json")
	assert.Equal(t, "      What to do: Ask for less.\n      hold  mount/map: The clock is off.\n                  Set it.\n"+
		"      Besides: 1 rule denies, travel/axis1; 1 rule holds, asker/fallback (--json tells why).\n", page.String())
}

// The rule that decided is named wherever an answer is read: its file can be found then, and what else it held.
func TestTheRuleThatDecidedIsNamed(t *testing.T) {
	late := objection("pose/fresh", pb.Effect_EFFECT_HOLD, "The newest sample is 60 s old.", "Send a new sample.", "")
	late.Fact, late.Limit = &pb.Fact{Name: "pose_age_s", Value: &pb.Fact_Number{Number: 60}}, num(10)
	held := &pb.Judgement{Verdict: pb.Verdict_VERDICT_HOLD, Sentence: late.GetSentence(), Findings: []*pb.Finding{{RuleId: "sun/apart", Effect: pb.Effect_EFFECT_PASS}, late}}
	address := served(t, &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) { return &pb.AskResponse{Judgement: held}, nil }})
	_, out, _ := typed(t, address, "ask heron home")
	assert.True(t, strings.HasPrefix(out, "HOLD  pose/fresh: The newest sample is 60 s old.\n"), out)

	var page bytes.Buffer
	k := &call{out: &page, now: time.Now}
	k.printOutlook(&pb.RehearseResponse{Steps: []*pb.RehearsedStep{{Outlook: held}}}, nil)
	assert.Contains(t, page.String(), ": pose/fresh: The newest sample is 60 s old.\n")
	page.Reset()
	k.printEntry(&pb.Entry{Verdict: held.GetVerdict(), Sentence: held.GetSentence(), Content: &pb.Entry_Asked{Asked: &pb.Asked{Response: &pb.AskResponse{Judgement: held}}}})
	assert.Contains(t, page.String(), ": pose/fresh: The newest sample is 60 s old.\n")
	assert.Contains(t, page.String(), "      hold  pose/fresh               pose_age_s 60, limit 10\n      What to do: Send a new sample.\n")

	assert.Equal(t, "Every rule passed.", headed(&pb.Judgement{Sentence: "Every rule passed.", Findings: held.GetFindings()[:1]}))
	assert.Equal(t, "Something else.", headed(&pb.Judgement{Sentence: "Something else.", Findings: held.GetFindings()}), "no rule that says something else")
}
