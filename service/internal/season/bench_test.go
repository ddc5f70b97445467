package season

import (
	"os"
	"testing"
)

// BenchmarkNight plays whole nights of keepclear, seed after seed, their records in memory. A thousand nights in five minutes on two cores are
// 600 ms a night.
func BenchmarkNight(b *testing.B) {
	table, err := shared()
	if err != nil {
		b.Fatal(err)
	}
	rigs, err := sharedRigs()
	if err != nil {
		b.Fatal(err)
	}
	dir, err := Memory()
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = os.RemoveAll(dir) })
	seed := uint64(500)
	for b.Loop() {
		if _, err := table.Play(rigs, table.Draw(seed, Wish{}), Gates()[0], dir); err != nil {
			b.Fatal(err)
		}
		seed++
	}
}
