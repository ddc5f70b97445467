package question

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// PoseState says how sure a pose is.
type PoseState string

// States of a pose.
const (
	Known      PoseState = "known"      // one place, within its uncertainty
	Candidates PoseState = "candidates" // a few places, all of which count
	Unknown    PoseState = "unknown"    // anywhere
)

// Candidate is one place where the axes may be.
type Candidate struct {
	Axes    rig.Axes `json:"axes"`
	Sigma   rig.Axes `json:"sigma"` // one standard deviation
	Because string   `json:"because,omitempty"`
	// Kept is the form of keeping a sync that this candidate supposes, where the rig file does not say which; empty: any.
	Kept rig.SyncKeeping `json:"kept,omitempty"`
	// Solve is the request id of the solve that put it there; empty: none did, or an entry says so that was written before this was: pose.bySolve.
	Solve string `json:"solve,omitempty"`
}

// DoubtKind says what raised a doubt of the pose, where something goes by that.
type DoubtKind string

// What raised a doubt.
const (
	SolveDoubt DoubtKind = "solve"      // a solve lies off the pose
	PolarDoubt DoubtKind = "polar axis" // two solves do, and a leaning polar axis explains them
)

// Pose is where the axes are, as the service holds it, at one instant.
//
// Invariant: Known has exactly one candidate, Candidates at least one, Unknown none.
type Pose struct {
	State      PoseState      `json:"state"`
	Candidates []Candidate    `json:"candidates,omitempty"` // likeliest first
	Source     rig.SourceKind `json:"source,omitempty"`
	At         time.Time      `json:"at,omitzero"`
	HomingID   string         `json:"homing_id,omitempty"`
	Because    string         `json:"because,omitempty"` // why it is not known for certain, and what settles it
}

// Homing is the reference that axis angles count from.
type Homing struct {
	ID     string    `json:"id"`
	At     time.Time `json:"at"`
	Sensed bool      `json:"sensed"`
	Person string    `json:"person,omitempty"`
	Axes   rig.Axes  `json:"axes"`
	Sigma  rig.Axes  `json:"sigma"`
	// BeliefAxes is M(belief) at homing by the mount's own map, lifted; nil until a sample at rest shows it.
	BeliefAxes *rig.Axes `json:"belief_axes,omitempty"`
	Closure    *rig.Axes `json:"closure,omitempty"` // counts at the mark before they were set
	RunMark    string    `json:"run_mark,omitempty"`
	// SigmaTold: whoever reported it said how sure it is.
	SigmaTold bool `json:"sigma_told,omitempty"`
	// Off is how far this zero stands off that of the last homing at a person's marks, by what the rig itself showed; nil: not known.
	Off *rig.Axes `json:"off,omitempty"`
	// CountZero is, by source, the reading at homing less Axes.
	CountZero map[rig.SourceKind]rig.Axes `json:"count_zero,omitempty"`
}

// Step is one sync as seen between two samples at rest: what it did to the belief, in the two forms in which a mount may keep it.
type Step struct {
	At    time.Time     `json:"at"`
	Axes  rig.Axes      `json:"axes"`  // change of M(belief), axis 1 and 2
	Sky   [2]unit.Angle `json:"sky"`   // change of right ascension and declination, of date
	Asked bool          `json:"asked"` // it came under a leave
	// AtEnd: it came with the tube, or belief, near the line of axis 1, across which it may have taken the counters half a turn round.
	AtEnd bool `json:"at_end,omitempty"`
}

// SolveVerdict says what became of a judged solve.
type SolveVerdict string

// What became of a solve.
const (
	Accepted SolveVerdict = "accepted" // allowed, and reported done
	Leaved   SolveVerdict = "allowed"  // allowed, not (yet) reported done
	Held     SolveVerdict = "held"
	Refused  SolveVerdict = "denied"
)

// JudgedSolve is one solve that was judged since the last homing: evidence for the next.
type JudgedSolve struct {
	RequestID string       `json:"request_id"`
	At        time.Time    `json:"at"`
	Mid       time.Time    `json:"mid,omitzero"`
	Picture   string       `json:"picture,omitempty"`
	Optics    string       `json:"optics,omitempty"`
	Blind     bool         `json:"blind"`
	Hint      *Sky         `json:"hint,omitempty"` // where its search was centred, where told
	Sky       *Sky         `json:"sky,omitempty"`  // as solved
	Verdict   SolveVerdict `json:"verdict"`
	Side      rig.Side     `json:"side,omitempty"`
	Pose      rig.Axes     `json:"pose"`                // at mid-exposure, likeliest candidate
	Solved    rig.Axes     `json:"solved"`              // axes that the solve gives, lifted to the pose; near the pole, with optics off the tube, maybe of the other side
	Field     unit.Angle   `json:"field_rad,omitempty"` // field width; 0: not known
	Good      bool         `json:"good"`                // passed solve/*
	Agreed    bool         `json:"agreed,omitempty"`    // passed sync/expected
	OffsetSky unit.Angle   `json:"offset_rad"`          // from the expected direction
	Rotation  *unit.Angle  `json:"rotation_rad,omitempty"`
	Camera    *unit.Angle  `json:"camera_rad,omitempty"` // the camera angle that it shows, for the first side, counted by the pose as then held; nil: not told, or no side was known
	Pixel     *unit.Angle  `json:"pixel_rad,omitempty"`
	Mirrored  *bool        `json:"mirrored,omitempty"`
	Against   bool         `json:"against,omitempty"` // good, and it disagreed with the pose as then held
	Sigma     rig.Axes     `json:"sigma,omitzero"`    // of the pose at mid-exposure, beside that of its home
	// Confirmed: it lies off, as an independent picture does that was held for it; the mount moved a little.
	Confirmed bool `json:"confirmed,omitempty"`
}

// Settles tells whether it was let pass, so that what was in doubt before it is settled.
func (j JudgedSolve) Settles() bool { return j.Verdict == Accepted || j.Verdict == Leaved }

// InDoubt tells whether it was good, told against the pose and was not taken.
func (j JudgedSolve) InDoubt() bool { return j.Good && j.Against && j.Verdict != Accepted }

// Drift is what good solves shifted by from picture to picture beyond what the axes turned.
type Drift struct {
	Sums   [4]float32 `json:"sums"` // across up and down, along up and down; standard deviations
	Pose   rig.Axes   `json:"pose"` // of the last picture, as of its solve
	Solved rig.Axes   `json:"solved"`
	Mid    time.Time  `json:"mid"`
	// From is the last accepted picture at which nothing had come together, by its pose, where it was solved and when; no time: there is none.
	FromPose   rig.Axes  `json:"from_pose,omitzero"`
	FromSolved rig.Axes  `json:"from_solved,omitzero"`
	FromMid    time.Time `json:"from_mid,omitzero"`
}

// SyncDone is one sync that the mount was told, since the last homing.
type SyncDone struct {
	At   time.Time `json:"at"`
	Axes rig.Axes  `json:"axes"` // the change of belief in axis terms
	// Nearer: it brought belief nearer the pose, so that it takes back of the sum what others added, and no more.
	Nearer bool `json:"nearer,omitempty"`
}

// Proof is a person's statement that the rig file fits the rig.
type Proof struct {
	Person       string    `json:"person"`
	At           time.Time `json:"at"`
	RigDigest    [32]byte  `json:"rig_digest"`
	SignsChecked bool      `json:"signs_checked"`
	ResidualMM   float64   `json:"residual_mm"`
	Stale        string    `json:"stale,omitempty"` // why it no longer holds; empty: it does
}

// Widens is by how much, in mm, every pair's required gap is wider for what gauges found of the rig's file of a digest: it was seen to be out by as
// much somewhere, so it may be anywhere (design, section 7). That stands for as long as that revision of the file does: what makes a proof stale (a
// changed payload, say) makes the file no better. No proof widens nothing.
func (p *Proof) Widens(digest [32]byte) float64 {
	if p != nil && p.RigDigest == digest && p.ResidualMM > 0 {
		return p.ResidualMM
	}
	return 0
}

// MountLimit is a limit kept by the mount, as last seen.
type MountLimit struct {
	Axis  int        `json:"axis"`
	Limit unit.Angle `json:"limit_rad"`
	Seen  time.Time  `json:"seen"`
}

// Offsets are of this homing's accepted solves on one side: mean of solved axes less pose, and how many. What is expected of the
// next goes by Pointing.
type Offsets struct {
	Axes  rig.Axes `json:"axes"`
	Count int      `json:"count"`
}

// Disproof says that samples disproved how the rig file has the mount keep a sync. It stands for as long as that revision of the file does.
type Disproof struct {
	Says      rig.SyncKeeping `json:"says"` // what the file says
	RigDigest [32]byte        `json:"rig_digest"`
	At        time.Time       `json:"at"`
}

// Unlisted are the sources that samples read and a revision of the rig file does not list, as they were told: nothing goes by them.
type Unlisted struct {
	RigDigest [32]byte         `json:"rig_digest"`
	Sources   []rig.SourceKind `json:"sources"`
}

// Of are those of a revision of the rig file.
func (u *Unlisted) Of(digest [32]byte) []rig.SourceKind {
	if u == nil || u.RigDigest != digest {
		return nil
	}
	return u.Sources
}

// RigState is all that the service holds of one rig. It is a value: nothing in it is shared or written in place.
type RigState struct {
	Epoch  uint64       `json:"epoch"`
	Pose   Pose         `json:"pose"`
	Homing *Homing      `json:"homing,omitempty"`
	Sample *Sample      `json:"sample,omitempty"` // the last one taken in
	Still  *Sample      `json:"still,omitempty"`  // the last one at rest or tracking
	Recent []SampleMark `json:"recent,omitempty"` // the last samples, oldest first, to work out mid-exposure
	// RunMark is the last run mark that a sample told, before the last homing too.
	RunMark string    `json:"run_mark,omitempty"`
	Site    *Place    `json:"site,omitempty"` // the mount's, last told
	SiteAt  time.Time `json:"site_at,omitzero"`
	Steps   []Step    `json:"steps,omitempty"` // syncs seen since homing
	// Kept is by how much syncs from before homings that only said where the axes are may still move belief on the sky, right ascension and declination.
	// Whether the mount forgot them is not known. nil: there are none.
	Kept   *[2]unit.Angle `json:"kept_rad,omitempty"`
	Permit *Permit        `json:"permit,omitempty"` // the last one; see Open
	Leave  *SyncLeave     `json:"leave,omitempty"`  // the last one
	Solves []JudgedSolve  `json:"solves,omitempty"`
	// Before are solves that told against the pose before homings that moved no zero: what they said is not settled.
	Before []JudgedSolve        `json:"before,omitempty"`
	Syncs  []SyncDone           `json:"syncs,omitempty"`
	Learnt map[rig.Side]Offsets `json:"learnt,omitempty"`
	// Pointing holds the pointing model of each of the optics, by name. It outlives homings.
	Pointing map[string]pointing.Model `json:"pointing,omitempty"`
	// Drifts are, by side and optics, what solves shifted by to one side. They outlive a homing at which the axes had not turned unseen.
	Drifts  map[string]Drift          `json:"drifts,omitempty"`
	Against int                       `json:"against,omitempty"` // independent good solves in a row that disagree with the pose
	Proof   *Proof                    `json:"proof,omitempty"`
	Limits  []MountLimit              `json:"limits,omitempty"`
	Demoted map[rig.SourceKind]string `json:"demoted,omitempty"` // sources that moved with a sync, and when
	// Parted are the sources that do not turn as a better one does, and since when: no sources before the next homing.
	Parted map[rig.SourceKind]string `json:"parted,omitempty"`
	// Beside is the reading of the best source less that of the next as they were when last found to agree; nil: not seen together yet.
	Beside *rig.Axes `json:"beside,omitempty"`
	// Disproved: how the file has the mount keep a sync is wrong, so both forms count, after a homing too; nil: nothing showed that.
	Disproved *Disproof `json:"disproved,omitempty"`
	// Unlisted are the sources that samples read beside the file's own; nil: none was seen.
	Unlisted *Unlisted `json:"unlisted,omitempty"`
	// Refused holds, by asker, why a report of theirs was not understood; their next one clears it.
	Refused map[string]string `json:"refused,omitempty"`
	Doubt   string            `json:"doubt,omitempty"` // what the last samples put in doubt, one sentence
	// DoubtOf says what raised the doubt; empty: anything else, or an entry says it that was written before this was: pose.doubtOf.
	DoubtOf DoubtKind `json:"doubt_of,omitempty"`
	// Zero is what of the rig file the axis angles here are counted by; nil: nobody noted it.
	Zero *rig.Zero `json:"zero,omitempty"`

	// Anchor is the sample from which the pose is carried on, and Anchored where the axes were then: the places, without the
	// source's own noise. Later places are these plus what the best source turned since. Room pose keeps both.
	Anchor   *Sample     `json:"anchor,omitempty"`
	Anchored []Candidate `json:"anchored,omitempty"`
	// Lacking is the anchor with what it does not show filled in from the samples before; nil: nothing is.
	Lacking *Shown `json:"lacking,omitempty"`
	// SideTold is the side last told, where the samples since tell none and nothing moved; nil: the last sample tells it, or none did.
	SideTold *ToldSide `json:"side_told,omitempty"`
	// Crept is the sum of the small movements that nobody asked for (guiding, dithers) since the last motion or homing.
	Crept rig.Axes `json:"crept,omitzero"`
	// Ahead is the mount's sidereal time less ours, as last told; nil: not told, or set anew by a person.
	Ahead *unit.Angle `json:"ahead_rad,omitempty"`
	// Motions counts the motions since the last homing; Lost is what a motion may lose when the pose is reckoned.
	Motions int      `json:"motions,omitempty"`
	Lost    rig.Axes `json:"lost,omitzero"`
	// Taught is how well a reckoned pose was known beside its home when a solve last taught the pointing model where that is sure: what was lost
	// until then the model has in it, and no solve shows.
	Taught rig.Axes `json:"taught,omitzero"`
	// Skipped: since the last sample the wall clock went forward, or the machine slept: it is at most as old as the clock says.
	Skipped bool `json:"skipped,omitempty"`
	// Forward is by how much it went forward since the last sample or homing, less Discounted, what it had gone until that homing. Stepped is the sum
	// of all its other steps since the anchor, back ones too, without their signs. By Forward and Stepped together the time between the anchor
	// and what comes next may be another than their dates tell.
	Forward    time.Duration `json:"forward,omitempty"`
	Discounted time.Duration `json:"discounted,omitempty"`
	Stepped    time.Duration `json:"stepped,omitempty"`
}

// ToldSide is a tube side as a sample told it.
type ToldSide struct {
	Side  rig.Side   `json:"side"`
	Hour  unit.Angle `json:"hour_rad"` // the mount's hour angle then, by its own clock
	Asker string     `json:"asker,omitempty"`
}

// Unsettled are the solves that leave a doubt since one was last let pass, oldest first, with those kept from before homings that moved no zero.
func (s *RigState) Unsettled(leaves func(JudgedSolve) bool) []JudgedSolve {
	out := slices.Clone(s.Before)
	for _, j := range s.Solves {
		switch {
		case j.Settles():
			out = nil
		case leaves(j):
			out = append(out, j)
		}
	}
	return out
}

// Shown is a sample filled in with what older ones showed, as it would read had nothing moved but what was seen.
type Shown struct {
	Sample Sample    `json:"sample"`
	Since  time.Time `json:"since"` // of the oldest that is filled in
}

// SampleMark is what is kept of a past sample.
type SampleMark struct {
	Time  time.Time `json:"time"`
	Doing Doing     `json:"doing"`
	Axes  rig.Axes  `json:"axes"` // pose then, likeliest candidate
	Known bool      `json:"known"`
	// Belief is where the mount said it points, of a sample that said it tracks; nil: not told.
	Belief *Sky `json:"belief,omitempty"`
}

// Snapshot is what one question is judged on.
type Snapshot struct {
	Rig   RigState  `json:"rig"`
	Locks []Lock    `json:"locks,omitempty"` // that hold this rig
	Clock Clock     `json:"clock"`
	At    time.Time `json:"at"`
	// Unheard is why a sample of the question itself was not taken in; empty: it was, or none came, or it says what the one held says.
	Unheard string `json:"unheard,omitempty"`
}
