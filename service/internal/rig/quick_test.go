package rig

import (
	"math/rand/v2"
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A number is what the expression of its comment says.
func TestHowANumberIsWritten(t *testing.T) {
	t.Parallel()
	want := regexp.MustCompile(`^[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$`)
	letters, lot, numbers := "0129.eE+-x _", rand.New(rand.NewPCG(1, 13)), 0
	texts := []string{"", "-", ".", "1.", ".5", "+1.5e-3", "1e", "1e+", "e5", "1..2", "1e5.", "--1", "0x10", "1_000", ".inf", ".e1", "1E7", "１"}
	for range 20000 {
		text := ""
		for range lot.IntN(7) {
			text += string(letters[lot.IntN(len(letters))])
		}
		texts = append(texts, text)
	}
	for _, text := range texts {
		if want.MatchString(text) {
			numbers++
		}
		require.Equal(t, want.MatchString(text), isNumber(text), "%q", text)
	}
	assert.Greater(t, numbers, 1000)
}

// Where a gap may be less than enough it is the proven one, and else it is not said to be more than that.
func TestGapsThatAreEnough(t *testing.T) {
	t.Parallel()
	var near, far int
	for _, file := range []string{"../practice/heron.yaml", "../../../testdata/rigs/wren.yaml", "../../../testdata/rigs/bittern.yaml", "../../../testdata/rigs/curlew.yaml"} {
		content, err := os.ReadFile(file)
		require.NoError(t, err)
		r, bad := Parse(file, content, func(name string) ([]byte, error) { return os.ReadFile("../../../testdata/rigs/" + name) })
		require.NotNil(t, r, "%v", bad)
		links := r.Chain.links(r.Home)
		for i := range r.Parts {
			for j := range r.Parts {
				a, b := &r.Parts[i], &r.Parts[j]
				if a.Link >= b.Link {
					continue
				}
				for _, enough := range []float64{touching, 25, 200, 1000} {
					exact, sometimes := overlap(a, b, gapBetween(links[a.Link], links[b.Link]))
					got, least := overlap(a, b, nearBetween(links[a.Link], links[b.Link], enough))
					assert.LessOrEqual(t, got, exact)
					assert.LessOrEqual(t, least, sometimes)
					if exact <= enough {
						near++
						assert.Equal(t, exact, got, "%s, %s and %s", file, a.Name, b.Name)
					} else {
						far++
						assert.Greater(t, got, enough)
					}
					if sometimes <= enough {
						assert.Equal(t, sometimes, least)
					}
				}
			}
		}
	}
	assert.Positive(t, near)
	assert.Positive(t, far)
}
