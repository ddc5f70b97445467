package store_test

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// onFile runs statements on a record that nobody has open.
func onFile(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	for _, s := range statements {
		_, err = db.Exec(s)
		require.NoError(t, err, s)
	}
}

// TestDictionaryStays: what was packed with it reads with no other.
func TestDictionaryStays(t *testing.T) {
	file, err := os.ReadFile("dictionary-1")
	require.NoError(t, err)
	assert.Equal(t, "f81ae333b1187e7fce37d4086d9fe9e8d670e942d49386bc52ad430897ae224b", fmt.Sprintf("%x", sha256.Sum256(file)))
}

// TestKeptAsEver: a body that this file's first program packed reads with every later one.
func TestKeptAsEver(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	require.NoError(t, s.Close())
	onFile(t, path, `UPDATE entry SET packing = 1, body = x'`+keptOnce+`'`)
	got, err := open(t, path, store.Options{}).Get(t.Context(), "a", 1)
	require.NoError(t, err)
	assert.Equal(t, bodyOnce, string(got.Body))
}

// bodyOnce is a body, and keptOnce how the program of 29 November 2026 kept it.
const (
	bodyOnce = `{"v":2,"event":{"changed":{"epoch":48}},"facts":{"pose_state":{"word":"known","origin":"computed"},"motion_s":{"number":15.93,"origin":"computed"}}}`
	keptOnce = `940115000946e3580834387d2eb5332a971d9af3264e24291031352e39330eaf17150008087d7d7d`
)

func TestPackedBodiesComeBack(t *testing.T) {
	noise := make([]byte, 5000)
	_, _ = rand.NewChaCha8([32]byte{1}).Read(noise)
	dictionary, err := os.ReadFile("dictionary-1")
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	var rows []store.Row
	wanted := map[string]int64{}
	for name, c := range map[string]struct {
		body    []byte
		packing int64
	}{
		"empty": {nil, 0}, "a byte": {[]byte("x"), 0}, "noise": {noise, 0}, "noise twice": {append(noise, noise...), 1},
		"the dictionary": {dictionary, 1}, "long": {bytes.Repeat([]byte("a slew of "), 200_000), 1}, "an entry": {[]byte(bodyOnce), 1},
	} {
		r := row(name, 1)
		r.Body = c.body
		rows, wanted[name] = append(rows, r), c.packing
	}
	for n := range 30 { // more than one packs by itself
		r := row(fmt.Sprint("another ", n), 1)
		r.Body = []byte(strings.Repeat(bodyOnce, n))
		rows = append(rows, r)
	}
	require.NoError(t, s.Commit(rows[:2]))
	require.NoError(t, s.Commit(rows[2:]))
	for _, want := range rows {
		got, err := s.Get(t.Context(), want.Chain, 1)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(want.Body, got.Body), want.Chain)
	}
	require.NoError(t, s.Close())
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	for name, want := range wanted {
		var got int64
		require.NoError(t, db.QueryRow(`SELECT packing FROM entry WHERE chain = ?`, name).Scan(&got))
		assert.Equal(t, want, got, name)
	}
}

// TestPackedBefore: a commit keeps what was packed before as it was packed, and packs the rest, few or many, with a second goroutine or without.
func TestPackedBefore(t *testing.T) {
	for _, c := range []struct{ before, rest int }{{1, 0}, {1, 1}, {3, 7}, {3, 8}, {20, 9}, {0, 30}, {16, 30}} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			s := open(t, filepath.Join(t.TempDir(), "record"), store.Options{})
			var p store.Packer
			var rows []store.Row
			for n := 1; n <= c.before+c.rest; n++ {
				r := row("a", uint64(n))
				r.Body = []byte(strings.Repeat(fmt.Sprint(bodyOnce, n), n%3))
				if n <= c.before {
					p.Pack(&r)
					r.Body = []byte("not looked at again")
					p.Pack(&r)
				}
				rows = append(rows, r)
			}
			require.NoError(t, s.Commit(rows))
			for n := range uint64(c.before + c.rest) {
				got, err := s.Get(t.Context(), "a", n+1)
				require.NoError(t, err)
				assert.Equal(t, strings.Repeat(fmt.Sprint(bodyOnce, n+1), int((n+1)%3)), string(got.Body))
			}
		})
	}
}

// TestDamagedPacking: what does not unpack is an error that names the damage, whatever length it claims.
func TestDamagedPacking(t *testing.T) {
	whole := filepath.Join(t.TempDir(), "whole")
	s, err := store.Open(whole, store.Options{})
	require.NoError(t, err)
	r := row("a", 1)
	r.Body = []byte(strings.Repeat(bodyOnce, 20))
	require.NoError(t, s.Commit([]store.Row{r}))
	require.NoError(t, s.Close())
	file, err := os.ReadFile(whole)
	require.NoError(t, err)
	for name, c := range map[string]struct{ statement, says string }{
		"another packing":  {`UPDATE entry SET packing = 9`, "packing 9"},
		"a negative one":   {`UPDATE entry SET packing = -1`, "packing -1"},
		"cut short":        {`UPDATE entry SET body = substr(body, 1, length(body) / 2)`, "unpacking a body"},
		"empty":            {`UPDATE entry SET body = x''`, "says it has"},
		"a length too far": {`UPDATE entry SET body = CAST(x'ffffffff0f' || body AS BLOB)`, "says it has 4294967295"},
		"another body":     {`UPDATE entry SET body = x'` + hex.EncodeToString(bytes.Repeat([]byte{0xff}, 64)) + `'`, "says it has"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "record")
			require.NoError(t, os.WriteFile(path, file, 0o600))
			onFile(t, path, c.statement)
			s := open(t, path, store.Options{})
			_, err := s.Get(t.Context(), "a", 1)
			require.ErrorIs(t, err, store.ErrDamaged)
			assert.ErrorContains(t, err, c.says)
			for got, err := range s.List(t.Context(), store.Filter{}, store.Page{Limit: 9}) {
				require.NoError(t, err, "a listing reads no body")
				assert.Equal(t, "a", got.Chain)
			}
		})
	}
}
