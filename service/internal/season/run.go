package season

import (
	"context"
	"fmt"
	"os"
	"sync"
)

// Season plays nights of seeds from first to last through gates, on so many threads, and adds them up: one total for each gate, in their
// order, the same whatever the threads do. dir is a folder for the records, best in memory: they are taken away as nights end.
func (t *Table) Season(ctx context.Context, rigs *Rigs, gates []Gate, first, last uint64, w Wish, threads int, dir string) ([]*Total, error) {
	n := int(last - first + 1)
	scores := make([][]*Score, n)
	errs := make([]error, n)
	next := make(chan int)
	var all sync.WaitGroup
	for range max(1, threads) {
		all.Go(func() {
			for i := range next {
				scores[i], errs[i] = t.night(rigs, gates, first+uint64(i), w, dir)
			}
		})
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	all.Wait()
	totals := make([]*Total, len(gates))
	for k := range gates {
		totals[k] = &Total{Gate: gates[k].Name}
	}
	for i := range n {
		if errs[i] != nil {
			return nil, errs[i]
		}
		for k, s := range scores[i] {
			totals[k].Add(s)
		}
	}
	return totals, ctx.Err()
}

// night plays one seed through all gates.
func (t *Table) night(rigs *Rigs, gates []Gate, seed uint64, w Wish, dir string) ([]*Score, error) {
	var out []*Score
	for _, g := range gates {
		s, err := t.Play(rigs, t.Draw(seed, w), g, dir)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// Memory makes a folder for records in memory where the system has one, else among its temporary files; remove it in the end.
func Memory() (dir string, err error) {
	for _, in := range []string{"/dev/shm", ""} {
		if dir, err = os.MkdirTemp(in, "keepclear-season-"); err == nil {
			return dir, nil
		}
	}
	return "", fmt.Errorf("a folder for the records of practice nights: %w; set TMPDIR to one that can be written", err)
}
