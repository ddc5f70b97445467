package main

import (
	"context"
	"fmt"
	"strings"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// verified has the night's record checked from its first entry to its head.
func (n *night) verified(ctx context.Context) {
	res, err := record.VerifyFile(ctx, n.record, record.VerifyOptions{Fold: state.NewFold}, store.Options{})
	switch {
	case err != nil:
		n.fault("verifying: %v", err)
	case !res.Whole:
		n.fault("%s", res.Sentence)
	}
	n.at("%s", res.Sentence)
}

// summary is the night in numbers, all of them from the answers.
func (n *night) summary() {
	counts := map[keepclear.Verdict]int{}
	var nearest *pb.Clearance
	var when string
	for _, w := range n.seen {
		counts[w.verdict]++
		c := w.ask.GetJudgement().GetClosest()
		if w.verdict != keepclear.Allow || len(c.GetParts()) != 2 {
			continue
		}
		if nearest == nil || c.GetLowerMm()-c.GetRequiredMm() < nearest.GetLowerMm()-nearest.GetRequiredMm() {
			nearest, when = c, local(w.at)
		}
	}
	n.say(under, "The night: %d questions, %d allowed, %d denied, %d held.", len(n.seen), counts[keepclear.Allow], counts[keepclear.Deny], counts[keepclear.Hold])
	for _, w := range n.seen {
		if w.verdict != keepclear.Allow {
			n.hang(strings.Repeat(" ", under+2), under+9, "%s %s: %s", local(w.at), strings.ToUpper(w.verdict.String()), w.what)
		}
	}
	if nearest != nil {
		n.say(under, "The narrowest way that was allowed, asked for at %s: %s.", when, nearness(nearest))
	}
}

// toTry names commands that work as they stand, from the folder in which this one did.
func (n *night) toTry() {
	n.chapter("To try next")
	for _, line := range []string{
		"# verify this night's record",
		"go run ./service verify " + n.record,
		"# a practice rig in one terminal",
		"go run ./service serve --practice heron",
		"# and questions from another",
		"go run ./clients/keepclear ask heron slew --axis1 -30 --axis2 60 \\",
		"    --attended-by you --practice",
		"go run ./clients/keepclear rigs",
		"go run ./clients/keepclear entries list",
		"# your own rig: an empty form to measure by",
		"go run ./service check --blank",
	} {
		fmt.Fprintln(n.out, "  "+line)
	}
}
