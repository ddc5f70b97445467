package slow_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"keepclear.example/keepclear/service/internal/slow"
)

func TestHowLong(t *testing.T) {
	var draw, real, other time.Duration
	for n := range 6 {
		s, err := stand(n)
		if err != nil {
			t.Fatal(err)
		}
		for k := range 40 {
			b := time.Now()
			q := s.draw(n*perRig + k)
			draw += time.Since(b)
			b = time.Now()
			s.ask(q)
			real += time.Since(b)
			b = time.Now()
			slow.Judge(&s.slow, q, s.drawn.limits, usual, rand.New(rand.NewPCG(1, 2)))
			other += time.Since(b)
		}
	}
	t.Log(draw/240, real/240, other/240)
}
