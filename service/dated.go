package main

import (
	"errors"
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/timescale"
)

// A rig file states one day: when the limit in the mount, on which asker/fallback counts, was last seen to act. Package rig has no clock, so it is held
// against today here. A clock that stands before the day on which our own time tables were issued has not been set, and tells no day.

const seenKey = "if_asker_dies.last_seen"

// earliestZone is by how much the clocks that are first in a day are ahead of UTC: a day that has not begun there has begun nowhere (UTC+14, the Line
// Islands; IANA time zone database, Pacific/Kiritimati). From memory.
const earliestZone = 14 * time.Hour

// oldAfter is after how long a person should see the limit act again. Choice: as long as a proof of the file counts (rig/proven age_days).
const oldAfter = 365 * 24 * time.Hour

// seenDay is the day that a file states, if it states one and the clock can tell.
func seenDay(r *rig.Rig, now time.Time) (day time.Time, is bool) {
	return r.Stop.Seen, !r.Stop.Seen.IsZero() && !now.Before(timescale.BuiltIn().Issued())
}

// unlived are the faults of a file that states a day still to come.
func unlived(r *rig.Rig, now time.Time) []rig.Fault {
	day, is := seenDay(r, now)
	if !is || !day.After(now.Add(earliestZone)) {
		return nil
	}
	at := r.Find(rig.Old, seenKey, "", "")
	return []rig.Fault{{
		File: at.File, Line: at.Line, Key: seenKey, Wanted: "a day that has been; today is " + now.UTC().Format(time.DateOnly) + " (UTC)", Got: day.Format(time.DateOnly),
		Remedy: "write the day on which somebody saw the limit act, or take the line away; if today is another day, set this machine's clock",
	}}
}

// longAgo tells of a limit that nobody has seen act for a year.
func longAgo(r *rig.Rig, now time.Time) []rig.Find {
	day, is := seenDay(r, now)
	if !is || now.Sub(day) <= oldAfter {
		return nil
	}
	return []rig.Find{r.Find(rig.Old, seenKey, fmt.Sprintf("the limit in the mount was last seen to act on %s, more than a year ago, and asker/fallback counts on it", day.Format("2 January 2006")),
		"run the mount into it with a hand on the power switch, and write the day")}
}

// unlivedOf are those faults of all that is to be served.
func unlivedOf(files []rigFile, members []decide.Member, now time.Time) (all error) {
	var faulty []string
	var good []decide.Member
	for i, m := range members {
		faults := unlived(m.Rig, now)
		if len(faults) == 0 {
			good = append(good, m)
			continue
		}
		faulty, all = append(faulty, files[i].name), errors.Join(all, faultsError(faults))
	}
	if all != nil {
		all = fmt.Errorf("%w\n%s", all, unloaded(faulty, good))
	}
	return all
}
