package verdict

import (
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
)

// Effect is what one rule says. Any other word, and the empty one, means hold.
type Effect string

// Effects.
const (
	Passes        Effect = "pass"           // within its limit
	Holds         Effect = "hold"           // not known, or not yet
	Denies        Effect = "deny"           // beyond its limit
	NotApplicable Effect = "not_applicable" // the action is none of the rule's, or the rig declares that it lacks what the rule needs
)

// harmless tells whether an effect may stand in an allow.
func (e Effect) harmless() bool { return e == Passes || e == NotApplicable }

// gravity orders effects, gravest first; a word that nobody knows stands with hold.
func (e Effect) gravity() int {
	switch e {
	case Denies:
		return 0
	case Passes:
		return 2
	case NotApplicable:
		return 3
	case Holds:
	}
	return 1
}

// Finding is what one rule says of one question.
type Finding struct {
	Rule     string     `json:"rule"`               // id: area/name
	Effect   Effect     `json:"effect"`             //
	Code     string     `json:"code"`               // stable word for programs: "below_floor", "fact_missing", "needs_no_roof"
	Fact     *Reading   `json:"fact,omitempty"`     // the fact that decided; absent: not applicable, or the rule did not answer
	Limit    *float64   `json:"limit,omitempty"`    // what it was held against, in Unit
	Unit     string     `json:"unit,omitempty"`     // of value and limit, as the fact's name ends: "deg", "mm", "s"; empty for words, counts and pure numbers
	About    []string   `json:"about,omitempty"`    // parts, axis, lock ids
	Instant  *time.Time `json:"instant,omitempty"`  // when along the motion
	Sentence string     `json:"sentence,omitempty"` // for a person; empty on a pass
	Remedy   string     `json:"remedy,omitempty"`   // what would help; empty on a pass
	Needs    []Need     `json:"needs,omitempty"`    // of a hold: what ends it
}

// Reading is a fact as a rule judged it. At most one of Number, Word, Truth is set; Missing says why none is.
type Reading struct {
	Name    string       `json:"name"`
	Number  *float64     `json:"number,omitempty"` // rounded to 15 significant digits, toward danger
	Word    *string      `json:"word,omitempty"`
	Truth   *bool        `json:"truth,omitempty"`
	Missing string       `json:"missing,omitempty"`
	Origin  facts.Origin `json:"origin,omitempty"`
}

// causes lists the rules whose objections bring others with them, in the order in which a person would put them right: a wrong clock
// moves the ends, an unknown pose leaves nothing to prove, and what would happen on a way comes before what would stop it there.
func causes() []string {
	return []string{"lock/none", "permit/one", "time/agree", "mount/map", "pose/fresh", "pose/known", "pose/sharp", "solve/fresh", "solve/still", "belief/agrees", "clear/path"}
}

// compare orders findings as a person reads them: gravest first, causes before what follows from them, then by id.
func compare(a, b Finding) int {
	if d := a.Effect.gravity() - b.Effect.gravity(); d != 0 {
		return d
	}
	if !a.Effect.harmless() {
		if d := cause(a.Rule) - cause(b.Rule); d != 0 {
			return d
		}
	}
	return strings.Compare(a.Rule, b.Rule)
}

// follows is the rule whose objections follow from others: where a motion itself leaves travel no track after it is short enough, and to say first that it
// is too long would send a person to ask for a shorter one.
const follows = "track/fits"

// cause is a rule's place among the causes; of one that is none, behind all of them, and of what follows from others behind those.
func cause(rule string) int {
	if rule == follows {
		return math.MaxInt
	}
	if i := slices.Index(causes(), rule); i >= 0 {
		return i
	}
	return len(causes())
}

// Sort puts findings in the order in which a person reads them: gravest first, causes before what follows from them, then by id.
func Sort(findings []Finding) { slices.SortStableFunc(findings, compare) }

// Gravest returns the finding that a one-line answer quotes: the first by Sort that is no pass and not "not applicable".
func Gravest(findings []Finding) (Finding, bool) {
	var worst *Finding
	for i := range findings {
		f := &findings[i]
		if !f.Effect.harmless() && (worst == nil || compare(*f, *worst) < 0) {
			worst = f
		}
	}
	if worst == nil {
		return Finding{}, false
	}
	return *worst, true
}

// Needs collects what would end the holds among the findings: each kind once for whom it concerns, in the words of the finding that comes
// first by Sort, since what only follows from that says it worse. By kind and then by whom.
func Needs(findings []Finding) []Need {
	findings = slices.Clone(findings)
	Sort(findings)
	var out []Need
	for _, f := range findings {
		for _, n := range f.Needs {
			if !slices.ContainsFunc(out, func(o Need) bool { return o.Kind == n.Kind && o.About == n.About }) {
				out = append(out, n)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Kind != out[j].Kind {
			return out[i].Kind < out[j].Kind
		}
		return out[i].About < out[j].About
	})
	return out
}
