package nights

import (
	"context"
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/store"
)

// expect holds what the service holds of the rig against the text.
func (n *night) expect(a *arguments) error {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil {
		return err
	}
	switch w := a.next(); w {
	case "pose":
		err = n.expectPose(a, v)
	case "candidates":
		if want := int(a.number()); len(v.Pose.Candidates) != want {
			err = fmt.Errorf("there are %d: %v", len(v.Pose.Candidates), v.Pose.Candidates)
		}
	case "source":
		if want := a.rest(); string(v.Pose.Source) != want {
			err = fmt.Errorf("the source is %q", v.Pose.Source)
		}
	case "demoted":
		if kind := rig.SourceKind(a.rest()); v.State.Demoted[kind] == "" && v.State.Parted[kind] == "" {
			err = fmt.Errorf("demoted are %v %v", v.State.Demoted, v.State.Parted)
		}
	case "sigma": // of the likeliest place: above so many degrees, or at most
		err = expectSigma(a, v)
	case "permit":
		err = expectPermit(a, v)
	case "locks":
		if want := int(a.number()); len(v.Locks) != want {
			err = fmt.Errorf("there are %d: %v", len(v.Locks), v.Locks)
		}
	case "notice", "no":
		err = n.expectNotice(w, a)
	case "record":
		err = n.expectRecord(a)
	case "error": // of the pose held, on either axis, at most so many degrees
		err = n.expectError(a.number(), v)
	case "truth":
		err = n.expectTruth(a, v)
	case "needs":
		err = expectNeeds(a, v)
	default:
		return fmt.Errorf("nothing is expected of %q", w)
	}
	if err != nil {
		return err
	}
	return a.done()
}

func (n *night) expectPose(a *arguments, v decide.View) error {
	if want := a.next(); string(v.Pose.State) != want {
		return fmt.Errorf("the pose is %s (%s); %s", v.Pose.State, v.Pose.Because, spoken(n.lastNotices()))
	}
	if words := a.rest(); !strings.Contains(v.Pose.Because, words) {
		return fmt.Errorf("the pose is %s because %q", v.Pose.State, v.Pose.Because)
	}
	return nil
}

func expectSigma(a *arguments, v decide.View) error {
	above := a.take("above")
	limit := a.number()
	if len(v.Pose.Candidates) == 0 {
		return fmt.Errorf("no pose is held")
	}
	if got := v.Pose.Candidates[0].Sigma.Max().Deg(); got > limit != above {
		return fmt.Errorf("it is %.3f°", got)
	}
	return nil
}

func expectPermit(a *arguments, v decide.View) error {
	want := a.next()
	got, because := "none", ""
	if v.State.Permit != nil {
		got, because = string(v.State.Permit.State), v.State.Permit.Because
	}
	if got != want {
		return fmt.Errorf("the permit is %s (%s)", got, because)
	}
	return nil
}

func expectNeeds(a *arguments, v decide.View) error {
	want := a.next()
	for _, x := range v.Needs {
		if string(x.Kind) == want {
			return nil
		}
	}
	return fmt.Errorf("it needs %v", v.Needs)
}

// mostNotices is how many of the last notices a failure prints.
const mostNotices = 6

func (n *night) lastNotices() []pose.Notice {
	if len(n.notices) > mostNotices {
		return n.notices[len(n.notices)-mostNotices:]
	}
	return n.notices
}

// expectNotice looks for words among all notices since the last such line; "no notice" wants that none came with these words, or none
// at all.
func (n *night) expectNotice(w string, a *arguments) error {
	none := w == "no" && a.take("notice")
	words := a.rest()
	said := spoken(n.notices)
	n.notices = nil
	if none && said == "" {
		return nil
	}
	if strings.Contains(said, words) == none {
		return fmt.Errorf("want notices with %q: %t; these came: %s", words, !none, said)
	}
	return nil
}

// expectRecord holds the last entry of the rig's chain: its kind, and words of its sentence.
func (n *night) expectRecord(a *arguments) error {
	entries, _, err := n.rec.List(context.Background(), store.Filter{Chains: []string{n.rig.ID}}, record.Page{Size: 1})
	if err != nil || len(entries) == 0 {
		return fmt.Errorf("reading the last entry: %w", err)
	}
	e := entries[0]
	if kind := a.next(); e.Kind != kind {
		return fmt.Errorf("the last entry is %q: %s", e.Kind, e.Sentence)
	}
	if words := a.rest(); !strings.Contains(e.Sentence, words) {
		return fmt.Errorf("the last entry says %q", e.Sentence)
	}
	return nil
}

// expectError holds the likeliest pose against where the simulated axes truly are.
func (n *night) expectError(most float64, v decide.View) error {
	if len(v.Pose.Candidates) == 0 {
		return fmt.Errorf("no pose is held")
	}
	if off := v.Pose.Candidates[0].Axes.Sub(n.mount.Axes(n.Now())).Abs().Max().Deg(); off > most {
		return fmt.Errorf("the pose held is %.2f° off: it is at %s, truly at %s", off, v.Pose.Candidates[0].Axes, n.mount.Axes(n.Now()))
	}
	return nil
}

// expectTruth holds where the simulated axes truly are: "truth 30 -40", there within a degree; "truth held", within three standard
// deviations of one of the places held ("or unknown": of a pose that is unknown nothing is asked).
func (n *night) expectTruth(a *arguments, v decide.View) error {
	at := n.mount.Axes(n.Now())
	if !a.take("held") {
		if off := rig.DegAxes(a.number(), a.number()).Sub(at).Abs().Max().Deg(); off > 1 {
			return fmt.Errorf("they are at %s", at)
		}
		return nil
	}
	if a.take("or", "unknown") && v.Pose.State == question.Unknown {
		return nil
	}
	for _, c := range v.Pose.Candidates {
		off, room := c.Axes.Sub(at).Abs(), question.Sigma3(c.Sigma)
		if off.A1 <= room.A1 && off.A2 <= room.A2 {
			return nil
		}
	}
	return fmt.Errorf("the axes are at %s; held are %v", at, v.Pose.Candidates)
}
