package decide

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Ourselves is who sets locks and writes entries that nobody asked for.
const Ourselves = "keepclear"

// Judge evaluates the rules of one rig.
type Judge interface {
	Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding
	IDs() []string
}

// Member is one rig with what judges it.
type Member struct {
	Rig    *rig.Rig
	Limits limits.Set
	Rules  Judge
	Revs   map[string]string // digests for the record: rules, limits, rig, build, time tables
	Shelf  *reach.Shelf      // what was once proven of the rig; nil: New makes one
}

// Parts are what the decider works with.
type Parts struct {
	Record  *record.Record
	Members []Member
	Moment  func(time.Time) (*sky.Moment, error)
	Now     func() time.Time
	Here    func() time.Time                    // the same without a look at whether the machine slept, which takes leave back itself; nil: Now
	Clock   func(now time.Time) question.Clock  // what bounds our clock's error
	Up      func(at time.Time) *question.Uptime // of this machine at an instant of this process; nil, or a nil answer: not known
	NewID   func() string                       // of permits, leaves, locks and homings: unguessable, unique
	Encode  func(a Answer, rig string) (state.Exchanged, error)
	Cells   int // work budget of each proof
	// Differs says how a rig's file, limits or rules ("rig", "limits", "rules") differ from those of an earlier digest; nil: the digests are told.
	Differs func(m Member, of, was string) string
}

// Decider takes the turns. Safe for concurrent use.
type Decider struct {
	parts   Parts
	service *group            // the chain "service": locks on all rigs, refusals
	groups  map[string]*group // by rig
	order   []string
	refused refusals
	scratch sync.Pool // of *[]byte, where entries are encoded
	untold  error     // what of the start could not be put on record; written by it alone
}

// group is one chain and what is held of it.
type group struct {
	name   string
	member Member
	turn   sync.Mutex        // held while one question or event is judged and appended
	folded state.Chain       // what the record makes of the chain; under turn
	live   question.RigState // the same with samples taken in that needed no entry; under turn
	anew   []pose.Notice     // what became of the state as the rig file counts the axes otherwise than before; under turn
	judged map[string]string // digests of what judged the last entry on record as it was folded; under turn
	other  string            // what else judges the rig since the last start; under turn
	noted  bool              // what is known of the axes is on record from before it was noted how the file counts them; under turn

	mu        sync.Mutex        // short: the open permit, for Withdraw
	open      []string          // ids of the open permit and the live leave
	last      string            // id of the last permit, open or not
	withdrawn map[string]taking // permit ids taken back in memory; not yet recorded
	takes     int               // how often leave was taken back: a question under way loses its own
	lastTake  taking            // the last time
	owed      map[string]taking // ids of leave taken back, until the record has it: a fold takes them back again
	replaced  []string          // permits in force whose place another took in memory that never left
}

// taking is why leave was taken back, and when.
type taking struct {
	why string
	at  time.Time
}

// New folds the record and returns a decider. Permits and sync leaves that were open when the service stopped come back withdrawn.
func New(p Parts) (*Decider, error) {
	d := &Decider{parts: p, groups: map[string]*group{}, refused: refusals{seen: map[record.Hash]*refusal{}}}
	d.service = &group{name: record.ServiceChain}
	for _, m := range p.Members {
		if d.groups[m.Rig.ID] != nil {
			return nil, fmt.Errorf("two rig files describe %q: give each rig an id of its own", m.Rig.ID)
		}
		if m.Rig.ID == record.ServiceChain {
			return nil, fmt.Errorf("a rig is called %q, as the record's chain for what concerns no rig: give it another id", m.Rig.ID)
		}
		if m.Shelf == nil {
			m.Shelf = reach.NewShelf()
		}
		d.groups[m.Rig.ID] = &group{name: m.Rig.ID, member: m}
		d.order = append(d.order, m.Rig.ID)
	}
	slices.Sort(d.order)
	if err := d.Refold(); err != nil {
		return nil, err
	}
	return d, nil
}

// Refold reads what is held anew from the record: at the start and after a failed flush.
func (d *Decider) Refold() error {
	for _, g := range d.all() {
		if err := d.foldInTurn(g); err != nil {
			return fmt.Errorf("folding chain %q: %w", g.name, err)
		}
	}
	return nil
}

func (d *Decider) foldInTurn(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	return d.fold(g)
}

// fold takes one chain as the record holds it.
func (d *Decider) fold(g *group) error {
	chain, judged, err := d.read(g.name)
	if err != nil {
		return err
	}
	g.judged = judged
	was := g.live
	g.mu.Lock() // of the service's chain the locks are read without its turn
	g.folded = chain
	g.mu.Unlock()
	g.live = d.resumed(chain.Rig)
	if g.member.Rig != nil {
		g.noted = g.live.Zero == nil && (g.live.Homing != nil || len(g.live.Pose.Candidates) > 0)
		g.live, g.anew = pose.Counted(d.world(g), g.live)
	}
	g.keepTaken(was)
	g.takeOwed()
	g.setOpen()
	return nil
}

// read folds a chain: as the record read it when it was opened, else from its last state entry on. Judged are the digests of what judged its last entry.
func (d *Decider) read(chain string) (out state.Chain, judged map[string]string, err error) {
	folded, err := d.parts.Record.Folded(chain)
	if err != nil {
		return state.Chain{}, nil, err
	}
	if f, ok := folded.(*state.Fold); ok {
		out, err = f.Settled()
		return out, f.Revisions(), err
	}
	ctx := context.Background()
	f := state.NewRefold(chain).(*state.Fold)
	from := uint64(1)
	switch last, err := d.parts.Record.LastState(ctx, chain); {
	case err == nil:
		from = last.Number
	case !errors.Is(err, record.ErrAbsent):
		return state.Chain{}, nil, err
	}
	for e, err := range d.parts.Record.Scan(ctx, chain, from) {
		if err == nil {
			err = f.Apply(e)
		}
		if err != nil {
			return state.Chain{}, nil, err
		}
	}
	out, err = f.Settled()
	return out, f.Revisions(), err
}

// resumed is a state as the record has it, brought to the clock as it reads now.
func (d *Decider) resumed(s question.RigState) question.RigState {
	if d.parts.Up == nil {
		return s
	}
	now := d.parts.Now()
	return pose.Resumed(s, now, d.up(now))
}

// up is for how long this machine had run at an instant; nil: not known.
func (d *Decider) up(at time.Time) *question.Uptime {
	if d.parts.Up == nil {
		return nil
	}
	up := d.parts.Up(at)
	if up != nil {
		c := d.parts.Clock(at)
		up.Bounded = c.KernelSynced || c.GoodAt != nil || c.ToldAt != nil
	}
	return up
}

// keepTaken carries over a fold what memory knows and the record, which may have been down, does not: leave that was taken back, and
// reports that were lost. Requires the turn.
func (g *group) keepTaken(was question.RigState) {
	if p, now := was.Permit, g.live.Permit; p != nil && !p.Open() && now.Open() && now.ID == p.ID {
		leave := g.live.Leave
		g.live = pose.Withdraw(g.live, p.Because, time.Time{})
		g.live.Permit.WithdrawnAt = p.WithdrawnAt
		g.live.Leave = leave
	}
	if l, now := was.Leave, g.live.Leave; l != nil && !l.Live && liveLeave(now) && now.ID == l.ID {
		permit := g.live.Permit
		g.live = pose.Withdraw(g.live, l.Because, time.Time{})
		g.live.Permit = permit
	}
	if len(was.Refused) > 0 {
		g.live.Refused = maps.Clone(was.Refused)
	}
	g.live.Epoch = max(g.live.Epoch, was.Epoch)
}

// takeOwed takes back after a fold what was taken back and is not on record. Requires the turn.
func (g *group) takeOwed() {
	g.mu.Lock()
	owed := g.owed
	g.owed, g.replaced = nil, nil
	g.mu.Unlock()
	g.withdrawOnly(owed)
}

// recorded notes that the record has what was taken back of this leave.
func (g *group) recorded(ids []string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, id := range ids {
		delete(g.owed, id)
	}
}

// WithdrawAfterRestart takes back what was open when the service stopped, and records it, and which rigs are judged otherwise than then (see Untold), and of which the
// file counts the axes otherwise.
func (d *Decider) WithdrawAfterRestart() error {
	for _, name := range d.order {
		g := d.groups[name]
		if err := d.revised(g); err != nil {
			d.untold = errors.Join(d.untold, fmt.Errorf("putting on record what judges %q from here on: %w", name, err))
		}
		if err := d.recounted(g); err != nil {
			return fmt.Errorf("putting on record that nothing is known of the axes of %q: %w", name, err)
		}
		if !g.live.Permit.Open() && !liveLeave(g.live.Leave) {
			continue
		}
		why := "the service was restarted: nobody watched what happened meanwhile"
		if err := d.withdraw(g, g.takeBack(taking{why, d.parts.Now()}), why, Ourselves, state.Exchanged{}); err != nil {
			return err
		}
	}
	return nil
}

// recounted puts on a rig's chain that its file counts the axes otherwise than before, so that nothing is known of them any more.
func (d *Decider) recounted(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	says := "how the rig file counts the axes is noted: what is known of them holds by it"
	switch {
	case len(g.anew) > 0:
		says = g.anew[0].Sentence
	case !g.noted: // else it would be taken anew, by whatever file there is, at the next start
		return nil
	}
	s := g.live
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Reported, asker: Ourselves, sentence: says, body: state.Body{Event: state.Event{After: &s}, Notices: g.anew},
	}, nil, d.parts.Now())
	if err != nil {
		return err
	}
	g.noted = false
	g.setOpen()
	return w.Wait()
}

// Recounted says of each rig whose file counts the axes otherwise than when the service stopped what became of its pose, in order.
func (d *Decider) Recounted() (out []string) {
	for _, name := range d.order {
		g := d.groups[name]
		g.turn.Lock()
		if len(g.anew) > 0 {
			out = append(out, name+": "+g.anew[0].Sentence)
		}
		g.turn.Unlock()
	}
	return out
}

func liveLeave(l *question.SyncLeave) bool { return l != nil && l.Live }

// StateOf is record.Options.State: what the chain's owner holds as of its head.
func (d *Decider) StateOf(chain string, _ record.Head) []byte {
	g := d.service
	if chain != record.ServiceChain {
		g = d.groups[chain]
	}
	if g == nil {
		return nil
	}
	body, err := g.folded.Encode()
	if err != nil {
		return nil
	}
	return body
}

func (d *Decider) all() []*group {
	out := []*group{d.service}
	for _, name := range d.order {
		out = append(out, d.groups[name])
	}
	return out
}

// group returns a rig's group.
func (d *Decider) group(name string) (*group, error) {
	g := d.groups[name]
	if g == nil {
		return nil, NoRig(name, d.order)
	}
	return g, nil
}

// world is what the pose room needs.
func (d *Decider) world(g *group) pose.World {
	tolerance, _ := g.member.Limits.Value("permit", "start_tolerance_deg")
	axis, _ := g.member.Limits.Value("mount/map", "axis_deg")
	skew, _ := g.member.Limits.Value("time/agree", "skew_s")
	return pose.World{
		Rig: g.member.Rig, Moment: d.parts.Moment, StartTolerance: unit.Deg(tolerance), MapTolerance: unit.Deg(axis),
		Skew: time.Duration(skew * float64(time.Second)),
	}
}

// locks returns every lock that holds the group's rig. Requires the group's turn.
func (d *Decider) locks(g *group) []question.Lock {
	d.service.mu.Lock()
	all := d.service.folded.Held()
	d.service.mu.Unlock()
	out := append(all, g.folded.Held()...)
	slices.SortStableFunc(out, func(a, b question.Lock) int { return cmp.Or(a.Set.Compare(b.Set), cmp.Compare(a.ID, b.ID)) })
	return out
}

// setOpen notes which leave is open, for Withdraw, and which permit was the last. Requires the turn.
func (g *group) setOpen() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.open, g.last = nil, ""
	if p := g.live.Permit; p != nil {
		g.last = p.ID
	}
	if g.live.Permit.Open() {
		g.open = append(g.open, g.live.Permit.ID)
	}
	if liveLeave(g.live.Leave) {
		g.open = append(g.open, g.live.Leave.ID)
	}
}

// takesSoFar is how often leave was taken back, and the last time.
func (g *group) takesSoFar() (int, taking) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.takes, g.lastTake
}

// settle puts withdrawals that happened in memory into the state: of the leave that was open then, and of no later one. Requires the
// turn.
func (g *group) settle() {
	g.mu.Lock()
	taken := g.withdrawn
	g.withdrawn = nil
	g.mu.Unlock()
	g.withdrawOnly(taken)
}

// withdrawOnly ends the permit and the leave of these ids, and no others. Requires the turn.
func (g *group) withdrawOnly(taken map[string]taking) {
	was := g.live
	if p := was.Permit; p != nil {
		if by, ok := taken[p.ID]; ok {
			g.live = pose.Withdraw(g.live, by.why, by.at)
			g.live.Leave = was.Leave
		}
	}
	if l := was.Leave; l != nil {
		if by, ok := taken[l.ID]; ok {
			permit := g.live.Permit
			g.live = pose.Withdraw(g.live, by.why, by.at)
			g.live.Permit = permit
		}
	}
}
