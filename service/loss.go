package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
)

// keepHeadsEvery is how often the heads of the record are kept beside it: what a log may lose unnoticed lies between two.
const keepHeadsEvery = 5 * time.Second

// headKeeper keeps the heads of the record until its context ends. Where that fails those kept before stay, and are true.
func headKeeper(rec *record.Record, log *slog.Logger) func(context.Context) error {
	return func(ctx context.Context) error {
		tick := time.NewTicker(keepHeadsEvery)
		defer tick.Stop()
		said := false
		for {
			select {
			case <-ctx.Done():
				return nil
			case <-tick.C:
				err := rec.KeepHeads()
				if err != nil && !said {
					log.Warn("a lost end of the record may go unnoticed", "why", err)
				}
				said = err != nil
			}
		}
	}
}

// keepFirst keeps the heads of a record that begins, before anything is in it: from then on one without them was moved without them, or robbed of
// them.
func keepFirst(rec *record.Record, path string) error {
	if kept, err := record.KeptHeads(path); kept != nil || err != nil || len(rec.Heads()) > 0 {
		return nil // takeLoss tells
	}
	return keepNow(rec)
}

// keepNow keeps the heads where a start needs them kept.
func keepNow(rec *record.Record) error {
	if err := rec.KeepHeads(); err != nil {
		return fmt.Errorf("%w; see that this user may write there and that there is room, and take away what bears that name and is no file", err)
	}
	return nil
}

// takeLoss locks every rig where the record ends before the heads that are kept beside it, or holds entries and none are kept, and keeps the new ones.
func takeLoss(rec *record.Record, d *decide.Decider, path string) error {
	kept, err := record.KeptHeads(path)
	lacks, because := []record.Place(nil), ""
	switch {
	case err != nil:
		because = fmt.Sprintf("whether entries of the record are gone cannot be told: %v", err)
	case kept == nil && len(rec.Heads()) > 0:
		because = fmt.Sprintf("whether entries of the record are gone cannot be told: its heads are not beside it, in the file %s; they are copied and moved with it", filepath.Base(path)+"-heads")
	}
	if because == "" {
		if lacks, err = rec.Lacks(context.Background(), kept); err != nil {
			return fmt.Errorf("looking for what the record held: %w", err)
		}
	}
	if len(lacks) > 0 {
		because = "entries of the record are gone, and what they held (" + gone(lacks, rec.Heads()) + "): a page of its log is rotten, an older copy was put in its place, or it was begun anew"
	}
	if because == "" {
		return nil
	}
	if err := d.TakeLoss(lacks, because); err != nil {
		return err
	}
	return keepNow(rec) // the next start would find the same loss anew
}

// mostGone is how many chains a loss names.
const mostGone = 3

// gone says of which chains entries are gone.
func gone(lacks []record.Place, heads map[string]record.Head) string {
	var out []string
	for i, p := range lacks {
		if i == mostGone {
			out = append(out, fmt.Sprintf("and %d more", len(lacks)-mostGone))
			break
		}
		if now := heads[p.Chain].Number; now < p.Number {
			out = append(out, fmt.Sprintf("chain %s went as far as entry %d and ends with %d", p.Chain, p.Number, now))
		} else {
			out = append(out, fmt.Sprintf("chain %s has another entry %d than it had", p.Chain, p.Number))
		}
	}
	return strings.Join(out, ", ")
}

// recounted says of which rigs a changed file leaves nothing known.
func recounted(d *decide.Decider) []string {
	var out []string
	for _, what := range d.Recounted() {
		out = append(out, "\nPOSE UNKNOWN: "+what+".")
	}
	return out
}

// inForce says which locks hold which rigs as the service starts.
func inForce(d *decide.Decider) []string {
	var out []string
	for _, l := range d.Held() {
		whom := l.Rig
		if whom == "" {
			whom = "every rig"
		}
		out = append(out, fmt.Sprintf("\nLOCKED: %s, since %s by %s:\n  %s", whom, stamp(l.Set.UTC()), l.SetBy, l.Reason))
	}
	return out
}
