package season

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// row is one line of the table of a season.
type row struct {
	name string
	bar  string // of the issue; empty: none
	cell func(t *Total) string
}

func per(n, of int, scale float64) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f", scale*float64(n)/float64(of))
}

func count(get func(t *Total) int) func(*Total) string {
	return func(t *Total) string { return fmt.Sprint(get(t)) }
}

func degrees(get func(t *Total) float64) func(*Total) string {
	return func(t *Total) string { return fmt.Sprintf("%.2f", get(t)) }
}

// rows are the table. The names are stable: programs may look for them.
func rows() []row {
	return []row{
		{"nights", "", count(func(t *Total) int { return t.Nights })},
		{"solves asked about", "", count(func(t *Total) int { return t.Asked })},
		{"of these false", "", count(func(t *Total) int { return t.False })},
		{"false ones accepted", "", count(func(t *Total) int { return t.FalseAccepted })},
		{"accepts, belief > 1° off", "0", count(func(t *Total) int { return t.OverDegree })},
		{"of these, site wrong alike", "", count(func(t *Total) int { return t.AlikeDegree })},
		{"of these, turned since picture", "", count(func(t *Total) int { return t.TurnedDegree })},
		{"accepts, > 1° but no worse", "", count(func(t *Total) int { return t.LeftDegree })},
		{"accepts > 0.25° per 1000 asked", "1", func(t *Total) string { return per(t.OverQuarter, t.Asked, 1000) }},
		{"of these, worse by it", "", func(t *Total) string { return per(t.WorseQuarter, t.Asked, 1000) }},
		{"worst belief, deg", "1", degrees(func(t *Total) float64 { return t.WorstBelief })},
		{"slew ends > 25° off", "0", count(func(t *Total) int { return t.EndsOver })},
		{"worst slew end, deg", "25", degrees(func(t *Total) float64 { return t.WorstEnd })},
		{"ends > 25° off by slip alone", "", count(func(t *Total) int { return t.EndsOverSlip })},
		{"accepts, pose > 1° wrong", "0", count(func(t *Total) int { return t.WrongPose })},
		{"accepts, pose > 3°, attested", "0", count(func(t *Total) int { return t.WrongPoseAttested })},
		{"accepts, clock > 1° wrong", "0", count(func(t *Total) int { return t.WrongClock })},
		{"accepts, site > 1° wrong", "0", count(func(t *Total) int { return t.WrongSite })},
		{"of these, wrong alike", "", count(func(t *Total) int { return t.AlikeSite })},
		{"worst drift of a night, deg", "1", degrees(func(t *Total) float64 { return t.WorstDrift })},
		{"holds per 100 true", "2.5", func(t *Total) string { return per(t.Held, t.True, 100) }},
		{"the same, nights without fault", "1", func(t *Total) string { return per(t.CalmHeld, t.CalmTrue, 100) }},
		{"the same, fair nights", "1", func(t *Total) string { return per(t.FairHeld, t.FairTrue, 100) }},
		{"the same, nothing wrong then", "", func(t *Total) string { return per(t.HeldSound, t.True, 100) }},
		{"denies per 100 true", "0.1", func(t *Total) string { return per(t.Denied, t.True, 100) }},
		{"held, allowed at the next, %", "50", func(t *Total) string { return per(t.NextAllows, t.NextAsked, 100) }},
		{"deadlocks", "0", count(func(t *Total) int { return len(t.Deadlocks) })},
		{"a person had to come", "", count(func(t *Total) int { return t.Visits })},
		{"motions not allowed", "", count(func(t *Total) int { return t.Missed })},
	}
}

// Print writes the table of a season, one column for each gate.
func Print(w io.Writer, totals []*Total) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	head := "\tat most"
	for _, t := range totals {
		head += "\t" + t.Gate
	}
	fmt.Fprintln(tw, head)
	for _, r := range rows() {
		line := r.name + "\t" + r.bar
		for _, t := range totals {
			line += "\t" + r.cell(t)
		}
		fmt.Fprintln(tw, line)
	}
	return tw.Flush()
}

// PrintCauses writes why a gate held or denied true solves, the commonest first, and what it should not have accepted.
func PrintCauses(w io.Writer, t *Total) {
	fmt.Fprintf(w, "\nTrue solves that %s did not allow, the commonest reasons:\n", t.Gate)
	keys := slices.SortedFunc(maps.Keys(t.Reasons), func(a, b string) int {
		return cmp.Or(cmp.Compare(t.Reasons[b], t.Reasons[a]), cmp.Compare(a, b))
	})
	for i, k := range keys {
		if i == 25 {
			fmt.Fprintf(w, "  and %d other reasons\n", len(keys)-i)
			break
		}
		fmt.Fprintf(w, "%5d  %s\n", t.Reasons[k], k)
	}
	fmt.Fprintf(w, "\nTrue solves and those held, by pose source:")
	for _, k := range slices.Sorted(maps.Keys(t.Sources)) {
		fmt.Fprintf(w, " %s %d, %d (%s %%);", k, t.Sources[k][0], t.Sources[k][1], per(t.Sources[k][1], t.Sources[k][0], 100))
	}
	fmt.Fprintf(w, "\n\nAccepted by %s and wrong:\n", t.Gate)
	for _, x := range t.Wrong {
		fmt.Fprintf(w, "  seed %d, %d of them, worst picture %d, %s: %s: belief %.2f° off (%.2f° before), pose %.2f°, clock %.2f°, site %.2f°\n      %s\n", x.Seed, x.Count,
			x.Asked.Picture, x.Asked.At.UTC().Format("15:04:05"), orTrue(x.Asked), x.Asked.Belief, x.Asked.Before, x.Asked.Pose, x.Asked.Clock, x.Asked.Site, x.Lot)
	}
	if len(t.Deadlocks) > 0 {
		fmt.Fprintf(w, "\nNights that got no sync any more although all was well: seeds %s\n", strings.Trim(fmt.Sprint(t.Deadlocks), "[]"))
	}
}

// orTrue says what an accepted solve was.
func orTrue(a Asked) string {
	switch {
	case a.Mechanism != "":
		return "false (" + a.Mechanism + ")"
	case a.Faults != "":
		return "a solve with " + a.Faults
	}
	return "a true solve"
}

// Tell writes the story of a night and its score.
func Tell(w io.Writer, s *Score) error {
	fmt.Fprintf(w, "%s.\nFrom %s UTC for %s; the rig and all that happens to it are invented.\n\n", upper(s.Lot.String()), s.Lot.Start.Format("2006-01-02 15:04"), s.Lot.Length.Round(time.Minute))
	for _, l := range s.Lines {
		fmt.Fprintln(w, l)
	}
	fmt.Fprintln(w)
	t := &Total{Gate: s.Gate}
	t.Add(s)
	if err := Print(w, []*Total{t}); err != nil {
		return err
	}
	PrintCauses(w, t)
	return nil
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
