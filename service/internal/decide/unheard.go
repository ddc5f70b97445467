package decide

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Names in which a missing report is remembered, besides those of askers.
const (
	// unnamed is the name of an asker that gives none, as the API has it: who has no name and who goes by this one are the same.
	unnamed = "unnamed"
	// Others stands for every asker beyond those who are remembered by name: which of them is heard cannot be told any more, so a person tells it
	// for all.
	Others = "further askers"
)

// mostUnheard bounds in how many names lost reports are remembered, Others being one of them. Common practice, no source: a site has a handful.
const mostUnheard = 64

// mostName is the length of the longest name that a lawful request may bear, characters (api: AskRequest.asker).
const mostName = 128

// named is the name in which an asker can be heard. One that no lawful report may bear, by its length or because it says nothing, is that of
// none: else what was refused in it could never be made good, and would hold its rig for good. Text that hides something is gone before.
func named(asker string) string {
	if strings.TrimSpace(asker) == "" || utf8.RuneCountInString(asker) > mostName {
		return unnamed
	}
	return asker
}

// heard is what is missing once a report of an asker was understood.
func heard(refused map[string]string, asker string) map[string]string {
	out := maps.Clone(refused)
	maps.DeleteFunc(out, func(a, _ string) bool { return named(a) == named(asker) })
	return out
}

// unheard remembers that a report of an asker was lost, in memory, and tells whether that is news. Requires the turn.
func (g *group) unheard(asker, why string) bool {
	asker = named(asker)
	if _, known := g.live.Refused[asker]; !known && len(g.live.Refused) >= mostUnheard-1 {
		asker = Others
	}
	why = fmt.Sprintf("that of %s (%s)", nameOr(asker), why)
	if g.live.Refused[asker] == why {
		return false
	}
	all := maps.Clone(g.live.Refused)
	if all == nil {
		all = map[string]string{}
	}
	all[asker] = why
	g.live.Refused = all
	return true
}

// firstUnheard is the first asker of whom a report is missing for a rig, what became of it, and what ends the hold for it. A person states
// where the axes stand as seen: homed without angles would say that they are at home, and clear the rig of what nobody looked at.
func firstUnheard(rigName string, refused map[string]string) (why, remedy string) {
	asker := slices.Min(slices.Collect(maps.Keys(refused)))
	as := shellWord(named(asker))
	look := fmt.Sprintf("a person look where the axes stand and state that: `keepclear tell %s homed --person NAME --axis1 DEG --axis2 DEG --as %s`; "+
		"what else happened: `keepclear tell %s act NAME --person NAME --as %s`.", rigName, as, rigName, as)
	if asker == Others {
		return refused[asker], fmt.Sprintf("Of too many askers a report is missing to name them%s: have %s", besides(refused, asker), look)
	}
	return refused[asker], fmt.Sprintf("Have %s%s send a report that is understood, or %s", nameOr(named(asker)), besides(refused, asker), look)
}

// besides says how many more askers a report is missing of; Others stands for one at least.
func besides(refused map[string]string, first string) string {
	more := len(heard(refused, first))
	_, least := refused[Others]
	switch {
	case more == 0:
		return ""
	case least && first != Others:
		return fmt.Sprintf(" (and at least %d more)", more)
	case more == 1:
		return " (and 1 more asker)"
	}
	return fmt.Sprintf(" (and %d more askers)", more)
}

// plain are the characters that no shell reads as anything else.
const plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./:@"

// shellWord writes a name as a shell reads it back, bare where that is plain.
func shellWord(name string) string {
	if strings.Trim(name, plain) == "" {
		return name
	}
	return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
}

// hearAgain says in the findings that lack a report of an asker whose report ends that: another asker's does not.
func hearAgain(findings []verdict.Finding, rigName string, refused map[string]string) {
	if len(refused) == 0 {
		return
	}
	why, remedy := firstUnheard(rigName, refused)
	for i := range findings {
		f := &findings[i]
		if f.Fact == nil || !strings.Contains(f.Fact.Missing, why) {
			continue
		}
		f.Remedy = remedy
		for j := range f.Needs {
			f.Needs[j].Sentence = remedy
		}
	}
}

// unheardHome holds a homing while a report is missing: it may have said that a clutch was opened, and the way home is judged from the
// pose. Every other motion pose/fresh holds, which homing, having no use for a sample, is not judged by.
func unheardHome(q question.Question, s question.RigState) (verdict.Finding, bool) {
	if q.Action.Kind != question.Home || len(s.Refused) == 0 {
		return verdict.Finding{}, false
	}
	why, remedy := firstUnheard(q.Rig, s.Refused)
	return verdict.Finding{
		Rule: "permit/heard", Effect: verdict.Holds, Code: "report_refused",
		Sentence: "Held: a report was not understood, " + why + "; it may have said that the pose is lost.", Remedy: remedy,
		Needs: []verdict.Need{{Kind: verdict.NeedSample, Sentence: remedy}},
	}, true
}
