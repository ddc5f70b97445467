package survey_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/survey"
)

// kept is a folder of maps that counts what it complains of.
func kept(t *testing.T, build string) (f *survey.Folder, faults *[]error) {
	faults = &[]error{}
	return &survey.Folder{Path: filepath.Join(t.TempDir(), "maps"), Build: build, Fault: func(what error) { *faults = append(*faults, what) }}, faults
}

// only is the one file of a folder.
func only(t *testing.T, f *survey.Folder) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(f.Path, "*"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	return files[0]
}

// TestMapIsFoundAgainAfterARestart, and says the same; one of another build, gap or revision is not taken for it.
func TestMapIsFoundAgainAfterARestart(t *testing.T) {
	of := wren(t)
	f, faults := kept(t, "a build")
	first, err := survey.New(f).Survey(t.Context(), of, func(float64) {})
	require.NoError(t, err)
	told := 0
	again, err := survey.New(f).Survey(t.Context(), of, func(float64) { told++ })
	require.NoError(t, err)
	assert.Zero(t, told, "nothing was worked out")
	assert.Equal(t, []any{first.Widest, first.Binds, first.Bands, first.Reached}, []any{again.Widest, again.Binds, again.Bands, again.Reached})
	only(t, f)

	assert.Positive(t, counted(t, survey.New(f), withGap(of, far)))
	assert.Zero(t, counted(t, survey.New(f), withGap(of, far)))
	assert.Positive(t, counted(t, survey.New(&survey.Folder{Path: f.Path, Build: "another"}), withGap(of, far)))
	r := *of.Rig
	r.Digest[0] ^= 1
	other := withGap(of, far)
	other.Rig = &r
	assert.Positive(t, counted(t, survey.New(f), other))
	assert.Zero(t, counted(t, survey.New(f), of))
	assert.Empty(t, *faults)
}

// TestDoubtfulMapIsMadeAnew: whatever is wrong with a file, its map is worked out again, said, and the file put right.
func TestDoubtfulMapIsMadeAnew(t *testing.T) {
	of := withGap(wren(t), far)
	f, faults := kept(t, "a build")
	counted(t, survey.New(f), of)
	file := only(t, f)
	good, err := os.ReadFile(file)
	require.NoError(t, err)
	o, _ := kept(t, "a build")
	counted(t, survey.New(o), wren(t))
	other, err := os.ReadFile(only(t, o))
	require.NoError(t, err)
	const head = len("keepclear map 1\n")
	for name, spoil := range map[string]func(b []byte) []byte{
		"empty":             func([]byte) []byte { return nil },
		"cut":               func(b []byte) []byte { return b[:len(b)/2] },
		"without its end":   func(b []byte) []byte { return b[:len(b)-1] },
		"longer":            func(b []byte) []byte { return append(b, 0) },
		"another version":   func(b []byte) []byte { b[head-2]++; return b },
		"another key":       func(b []byte) []byte { b[head]++; return b },
		"a cell":            func(b []byte) []byte { b[len(b)/2] ^= 1; return b },
		"its sum":           func(b []byte) []byte { b[len(b)-1] ^= 1; return b },
		"another rig's map": func([]byte) []byte { return slices.Clone(other) },
		"what it never proved": func(b []byte) []byte { // the map of the margins under this key, with a sum that fits
			forged := append(slices.Clone(b[:head+32]), other[head+32:len(other)-32]...)
			sum := sha256.Sum256(forged)
			return append(forged, sum[:]...)
		},
	} {
		require.NoError(t, os.WriteFile(file, spoil(slices.Clone(good)), 0o600))
		*faults = nil
		assert.Positive(t, counted(t, survey.New(f), of), name)
		assert.Len(t, *faults, 1, name)
		now, err := os.ReadFile(only(t, f))
		require.NoError(t, err)
		assert.Equal(t, good, now, "%s: put right", name)
	}
	require.NoError(t, os.Remove(file))
	require.NoError(t, os.Mkdir(file, 0o700))
	*faults = nil
	assert.Positive(t, counted(t, survey.New(f), of), "a folder where the file belongs")
	assert.Len(t, *faults, 2, "neither read nor kept")
}

// TestForgedClearIsNotSaid: a file that its key and its sum fit, but that calls a little more clear than is, where the lot does not look.
func TestForgedClearIsNotSaid(t *testing.T) {
	of := wren(t)
	f, faults := kept(t, "a build")
	honest, err := survey.New(f).Survey(t.Context(), of, func(float64) {})
	require.NoError(t, err)
	file := only(t, f)
	good, err := os.ReadFile(file)
	require.NoError(t, err)
	forged := forgedClear(t, good, honest.Widest)
	require.False(t, bytes.Equal(good, forged))
	f.Draws(func(int) int { return at(honest.Widest[1].High.Deg()) + rows + 1 })
	require.NoError(t, os.WriteFile(file, forged, 0o600))

	s := survey.New(f)
	now, err := s.Survey(t.Context(), of, func(float64) {})
	require.NoError(t, err)
	assert.Equal(t, honest.Widest, now.Widest)
	assert.Equal(t, honest.Bands, now.Bands)
	assert.Len(t, *faults, 1)
	put, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(good, put), "put right")
	assert.Zero(t, counted(t, s, of), "and kept")
}

// rows are those of cells that a forged file calls clear: 6°, of which the spread takes 4.
const rows = 24

// at is the index of an angle in a file, degrees.
func at(deg float64) int { return (int(math.Floor(deg/0.25)) + 4*1440) % 1440 }

// forgedClear is a file in which more rows of cells are clear at the high end of axis 2, beside the widest rectangle.
func forgedClear(t *testing.T, good []byte, widest [2]reach.Extent) []byte {
	t.Helper()
	const head, side = len("keepclear map 1\n") + 32, 1440
	body := good[head : len(good)-32]
	_, n := binary.Uvarint(body[1:])
	out := slices.Clone(good[:head+1+n])
	var cells []byte
	for b := body[1+n:]; len(b) > 0; {
		run, n := binary.Uvarint(b[1:])
		cells = append(cells, bytes.Repeat(b[:1], int(run))...)
		b = b[1+n:]
	}
	require.Len(t, cells, side*side)
	clear := cells[at(0)*side+at(0)] // home is
	for i := range side {
		for more := range rows {
			cells[i*side+(at(widest[1].High.Deg())+more)%side] = clear
		}
	}
	for i := 0; i < len(cells); {
		n := i
		for n < len(cells) && cells[n] == cells[i] {
			n++
		}
		out = binary.AppendUvarint(append(out, cells[i]), uint64(n-i))
		i = n
	}
	sum := sha256.Sum256(out)
	return append(out, sum[:]...)
}

// TestFolderThatIsNoneCostsTimeAlone.
func TestFolderThatIsNoneCostsTimeAlone(t *testing.T) {
	f, faults := kept(t, "a build")
	require.NoError(t, os.WriteFile(f.Path, nil, 0o600))
	assert.Positive(t, counted(t, survey.New(f), withGap(wren(t), far)))
	assert.NotEmpty(t, *faults)
}

// TestFolderIsBounded: the oldest make room.
func TestFolderIsBounded(t *testing.T) {
	f, _ := kept(t, "a build")
	require.NoError(t, os.MkdirAll(f.Path, 0o700))
	for i := range 70 {
		require.NoError(t, os.WriteFile(filepath.Join(f.Path, fmt.Sprintf("%02d.map", i)), nil, 0o600))
	}
	counted(t, survey.New(f), withGap(wren(t), far))
	files, err := filepath.Glob(filepath.Join(f.Path, "*.map"))
	require.NoError(t, err)
	assert.Len(t, files, 64)
	assert.Zero(t, counted(t, survey.New(f), withGap(wren(t), far)), "the newest stays")
}
