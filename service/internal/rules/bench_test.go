package rules

import (
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/rego"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

func benchmark(b *testing.B, sub Subject, f facts.Set, passes int) {
	s := loaded(b)
	got := 0
	for _, x := range s.Judge(b.Context(), sub, f, noon()) {
		if x.Effect == verdict.Passes {
			got++
		}
	}
	require.Equal(b, passes, got, "findings that pass")
	b.ReportAllocs()
	for b.Loop() {
		s.Judge(b.Context(), sub, f, noon())
	}
}

// benchmarkAnew judges as a request is judged: its goroutine is new, and its stack has to grow.
func benchmarkAnew(b *testing.B, f facts.Set) {
	s, done := loaded(b), make(chan bool)
	for b.Loop() {
		go func() {
			s.Judge(b.Context(), everything(), f, noon())
			done <- true
		}()
		<-done
	}
}

func BenchmarkJudge(b *testing.B) {
	bad := good()
	bad.Number("altitude_min_deg", -12, facts.Computed)
	bad.Number("altitude_sharp_min_deg", -11, facts.Computed)
	bad.Number("belief_error_sky_deg", 7.5, facts.Computed)
	bad.Lack("clock_skew_s", "no round trip yet", "clock")
	b.Run("every rule, all pass", func(b *testing.B) { benchmark(b, everything(), good(), 30) })
	b.Run("every rule, three do not", func(b *testing.B) { benchmark(b, everything(), bad, 27) })
	b.Run("every rule, all pass, on a new goroutine", func(b *testing.B) { benchmarkAnew(b, good()) })
	b.Run("every rule, three do not, on a new goroutine", func(b *testing.B) { benchmarkAnew(b, bad) })
	b.Run("a slew, all pass", func(b *testing.B) { benchmark(b, slew(), good(), 17) })
}

func BenchmarkAsk(b *testing.B) {
	s := loaded(b)
	facts := s.lib.read(good())
	in, wanted := facts.document(), allOf(s)
	b.Run("conditions alone", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, _ = s.bound.passed(b.Context(), facts.values, wanted)
		}
	})
	b.Run("rule by rule", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			for i := range wanted {
				s.bound.askOne(b.Context(), i, in, noon())
			}
		}
	})
	b.Run("all findings in one plain query", func(b *testing.B) {
		plain := plainQuery(b, s)
		b.ReportAllocs()
		for b.Loop() {
			_, err := s.bound.evaluate(b.Context(), plain, in, noon())
			require.NoError(b, err)
		}
	})
	b.Run("reading the facts", func(b *testing.B) {
		f := good()
		b.ReportAllocs()
		for b.Loop() {
			s.lib.read(f)
		}
	})
}

func BenchmarkLoad(b *testing.B) {
	lim := testLimits(b)
	for b.Loop() {
		_, err := Load(dirFS(), lim)
		require.NoError(b, err)
	}
}

// plainQuery asks for every finding at once without partial evaluation: what the fast way is measured against.
func plainQuery(b *testing.B, s *Set) rego.PreparedEvalQuery {
	var each []string
	for _, r := range s.lib.rules {
		each = append(each, r.query())
	}
	store, err := storeOf(s.Limits())
	require.NoError(b, err)
	q, err := rego.New(rego.Query("["+strings.Join(each, ", ")+"]"), rego.Compiler(s.lib.compiler), rego.Store(store), rego.StrictBuiltinErrors(true), raw()).PrepareForEval(b.Context())
	require.NoError(b, err)
	return q
}
