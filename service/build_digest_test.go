package main

import (
	"bytes"
	"crypto/sha256"
	"debug/elf"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBuildsOfTwoSourcesDiffer, where nothing else tells them apart too.
func TestBuildsOfTwoSourcesDiffer(t *testing.T) {
	dir := t.TempDir()
	program := func(name string) func() (string, error) {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(name), 0o600))
		return func() (string, error) { return path, nil }
	}
	stamped := func(modified string) *debug.BuildInfo {
		return &debug.BuildInfo{Settings: []debug.BuildSetting{{Key: "vcs.revision", Value: "1234"}, {Key: "vcs.modified", Value: modified}}}
	}
	for name, info := range map[string]*debug.BuildInfo{"nothing": nil, "no revision": {}, "changed since": stamped("true")} {
		assert.NotEqual(t, buildOf(info, program("one")), buildOf(info, program("other")), name)
		assert.Equal(t, buildOf(info, program("one")), buildOf(info, program("one")), name)
	}
	assert.Equal(t, buildOf(stamped("false"), program("one")), buildOf(stamped("false"), program("other")), "the revision tells")
	assert.NotEmpty(t, buildOf(nil, func() (string, error) { return "", errors.New("no such program") }))
}

// elfWith is the least program that has notes.
func elfWith(notes ...any) []byte {
	var all, out bytes.Buffer
	put := func(to *bytes.Buffer, parts ...any) {
		for _, p := range parts {
			_ = binary.Write(to, binary.LittleEndian, p) // of fixed size, into memory
		}
	}
	put(&all, notes...)
	size := uint64(all.Len())
	put(&out, elf.Header64{Ident: [16]byte{0x7f, 'E', 'L', 'F', 2, 1, 1}, Type: 2, Machine: 62, Version: 1, Phoff: 64, Ehsize: 64, Phentsize: 56, Phnum: 1},
		elf.Prog64{Type: uint32(elf.PT_NOTE), Off: 120, Filesz: size, Memsz: size}, all.Bytes())
	return out.Bytes()
}

// TestLinkersIDTellsBuilds apart by a note among others; where there is none, or it is broken off, the bytes do.
func TestLinkersIDTellsBuilds(t *testing.T) {
	dir := t.TempDir()
	of := func(content []byte) string {
		path := filepath.Join(dir, "program")
		require.NoError(t, os.WriteFile(path, content, 0o600))
		return buildOf(nil, func() (string, error) { return path, nil })
	}
	other := []any{[]uint32{4, 5, 3}, []byte("GNU\x00abcde\x00\x00\x00")}
	one := append(other, []uint32{4, 6, 4}, []byte("Go\x00\x00a/b/c1\x00\x00"))
	assert.Equal(t, "unknowna/b/c1", of(elfWith(one...)))
	assert.Equal(t, "unknowna/b/c1", of(append(elfWith(one...), "what else the program holds"...)))
	for name, content := range map[string][]byte{
		"another type": elfWith([]uint32{4, 6, 5}, []byte("Go\x00\x00a/b/c1\x00\x00")), "no id": elfWith(other...), "cut": elfWith([]uint32{4, 60, 4}, []byte("Go\x00\x00a/b/c1\x00\x00")),
		"no note": elfWith(), "empty": nil,
	} {
		digest := sha256.Sum256(content)
		assert.Equal(t, "unknown"+hex.EncodeToString(digest[:]), of(content), name)
	}
	id, err := linkedID(os.Executable)
	require.NoError(t, err)
	assert.Regexp(t, `^[\w-]+/[\w-]+/[\w-]+/[\w-]+$`, id, "this very program has one")
}
