package main

import (
	"fmt"
	"slices"
	"strings"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// mostCauses is how many reasons an answer tells of: what a tired person puts right at once. The rest is counted, and by name.
const mostCauses = 2

// cause is one reason for which rules object: the finding that tells it, and how many more only repeat it.
type cause struct {
	tells *pb.Finding
	more  int
}

// objects tells whether a finding is in the way.
func objects(f *pb.Finding) bool {
	return f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE
}

// headed is a judgement's line with the rule that it comes from before it, as the lines of the other rules have it: who wants to read or to change a
// rule, or to see what else it held, has to know its id.
func headed(j *pb.Judgement) string {
	for _, f := range j.GetFindings() {
		if objects(f) && f.GetRuleId() != "" && f.GetSentence() == j.GetSentence() {
			return f.GetRuleId() + ": " + j.GetSentence()
		}
	}
	return j.GetSentence()
}

// causes groups the objections, in their order: a rule that lacks a fact for a reason that was told before says nothing new.
func causes(all []*pb.Finding) []cause {
	var out []cause
next:
	for _, f := range all {
		if !objects(f) {
			continue
		}
		if why := f.GetFact().GetMissing(); why != "" {
			for i := range out {
				if strings.Contains(out[i].tells.GetSentence(), why) {
					out[i].more++
					continue next
				}
			}
		}
		out = append(out, cause{tells: f})
	}
	return out
}

// printCauses prints the remedy of the gravest finding, whose sentence heads the answer, then the next reason, and counts the rest. where
// says where all of it can be read.
func (k *call) printCauses(j *pb.Judgement, where string) {
	all := causes(j.GetFindings())
	if f := keepclear.Doubted(j); f != nil { // second: another deny says only where a wrong reading leads, too
		if at := slices.IndexFunc(all, func(c cause) bool { return c.tells == f }); at > 1 {
			c := all[at]
			all = slices.Insert(slices.Delete(all, at, at+1), 1, c)
		}
	}
	told := map[string]bool{}
	for i, c := range all[:min(len(all), mostCauses)] {
		f := c.tells
		if i > 0 {
			fmt.Fprintf(k.out, "      %s  %s: %s\n", word(f.GetEffect().String(), "EFFECT_"), f.GetRuleId(), f.GetSentence())
		}
		if r := f.GetRemedy(); r != "" && !told[r] {
			told[r] = true
			fmt.Fprintf(k.out, "      %s %s\n", map[bool]string{true: "What to do:", false: "           "}[i == 0], r)
		}
		if c.more > 0 {
			fmt.Fprintf(k.out, "      For the same reason %s.\n", count(c.more, "more rule holds", "more rules hold"))
		}
	}
	if rest := all[min(len(all), mostCauses):]; len(rest) > 0 {
		fmt.Fprintf(k.out, "      Besides: %s (%s tells why).\n", besides(rest), where)
	}
}

// besides names what else objects, by effect.
func besides(rest []cause) string {
	var denies, holds []string
	more := 0
	for _, c := range rest {
		more += c.more
		if c.tells.GetEffect() == pb.Effect_EFFECT_DENY {
			denies = append(denies, c.tells.GetRuleId())
			continue
		}
		holds = append(holds, c.tells.GetRuleId())
	}
	var out []string
	if len(denies) > 0 {
		out = append(out, count(len(denies), "rule denies, ", "rules deny, ")+strings.Join(denies, ", "))
	}
	if n := len(holds) + more; n > 0 {
		named := strings.Join(holds, ", ")
		if more > 0 {
			named += " and others"
		}
		out = append(out, count(n, "rule holds, ", "rules hold, ")+named)
	}
	return strings.Join(out, "; ")
}

// count writes a number with the words that fit it.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
