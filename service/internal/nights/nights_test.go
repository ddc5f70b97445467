package nights_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/nights"
)

const testdata = "../../../testdata"

// TestNights plays every night of testdata/nights.
func TestNights(t *testing.T) {
	files, err := os.ReadDir(filepath.Join(testdata, "nights"))
	require.NoError(t, err)
	played := 0
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".txt") {
			continue
		}
		played++
		t.Run(strings.TrimSuffix(f.Name(), ".txt"), func(t *testing.T) {
			t.Parallel()
			asked, err := nights.Play(testdata, f.Name(), filepath.Join(t.TempDir(), "record"))
			require.NoError(t, err)
			if strings.HasPrefix(f.Name(), "ordinary") {
				assert.GreaterOrEqual(t, asked, 45, "an ordinary night asks about fifty questions")
			}
		})
	}
	assert.NotZero(t, played)
}

// A night that wants something else than what comes fails, and says where and what came.
func TestAWrongNightFails(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "nights"), 0o700))
	cases := map[string]string{
		"rig heron\nstart 2026-11-14T18:20Z\nask axes 10 10 -> allow\n":           "3: ask axes 10 10: want allow, got hold",
		"rig heron\nstart 2026-11-14T18:20Z\nask axes 10 10 -> hold sync/rate\n":  "want hold by sync/rate",
		"rig heron\nstart 2026-11-14T18:20Z\nask axes 10 10 -> hold \"cheese\"\n": "want the words \"cheese\"",
		"rig heron\nstart 2026-11-14T18:20Z\nexpect pose known\n":                 "the pose is unknown",
		"rig heron\nstart 2026-11-14T18:20Z\ndance\n":                             "no such verb",
		"rig heron\nstart 2026-11-14T18:20Z\nask axes 10 10\n":                    "what answer is wanted",
		"only prose\n": "no line begins with",
	}
	for text, want := range cases {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "nights", "wrong.txt"), []byte(text), 0o600))
		_, err := nights.Play(dir, "wrong.txt", filepath.Join(t.TempDir(), "record"))
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), want)
	}
}
