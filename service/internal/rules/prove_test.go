package rules

import (
	"math/rand"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// TestUnprovenRulesFindTheSame judges by rules that were read and not proven: every finding is as by proven ones, while they are being proven too.
func TestUnprovenRulesFindTheSame(t *testing.T) {
	proven := loaded(t)
	unproven, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	unproven.bound.patience = proven.bound.patience
	r := rand.New(rand.NewSource(20261129))
	compare := func(n int) {
		for range n {
			f := lessGood(r)
			assert.Equal(t, proven.Judge(t.Context(), everything(), f, noon()), unproven.Judge(t.Context(), everything(), f, noon()))
		}
	}
	compare(30)
	require.Nil(t, unproven.bound.conditions.Load(), "nothing proved them")
	var beside sync.WaitGroup
	for range 2 {
		beside.Go(func() { assert.NoError(t, unproven.Prove()) })
	}
	compare(100)
	beside.Wait()
	require.Len(t, *unproven.bound.conditions.Load(), len(*proven.bound.conditions.Load()))
	compare(30)
}

// lessGood are good facts of which some are missing, wrong or far off.
func lessGood(r *rand.Rand) facts.Set {
	f := good()
	for _, name := range sortedKeys(f) {
		switch r.Intn(12) {
		case 0:
			delete(f, name)
		case 1:
			f.Number(name, (r.Float64()-0.5)*1e4, facts.Computed)
		case 2:
			f.Word(name, "x", facts.Told)
		}
	}
	return f
}

// TestRulesThatCannotBeProvenGoOn: where the proof finds a fault the rules that were read judge on, each in full, and the one at fault passes nothing.
func TestRulesThatCannotBeProvenGoOn(t *testing.T) {
	files := copied(t)
	files[badFile] = &fstest.MapFile{Data: []byte(badRules()["passes always"].text)}
	lib, err := load(files, false)
	require.NoError(t, err)
	s, err := lib.withLimits(testLimits(t))
	require.NoError(t, err)
	lib.lint = true // what the lint would have refused came through
	require.ErrorContains(t, s.Prove(), badFile)
	require.ErrorContains(t, s.Prove(), badFile, "and it says so again")
	require.Nil(t, s.bound.conditions.Load())
	s.bound.patience = patience{query: time.Minute, question: time.Minute}
	without := loaded(t).Judge(t.Context(), everything(), good(), noon())
	for _, f := range s.Judge(t.Context(), everything(), good(), noon()) {
		if f.Rule == "bad/rule" {
			assert.Equal(t, verdict.Holds, f.Effect)
			assert.Equal(t, "rule_contradicts_itself", f.Code)
			continue
		}
		assert.Contains(t, without, f)
	}
}

// TestPanicInAProofIsAFault: whoever is asked meanwhile is answered, and the rule holds.
func TestPanicInAProofIsAFault(t *testing.T) {
	s, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	s.bound.store = nil // OPA reads limits from it
	s.lib.place = nil
	require.Error(t, s.Prove())
	require.Error(t, s.Prove(), "and it says so again")
	require.Nil(t, s.bound.conditions.Load())
}
