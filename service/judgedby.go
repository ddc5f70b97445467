package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// judgedBy gathers what the entries of a record were judged by, as it is verified: without the files that those digests stand for (revisionFolder) no
// answer can be judged again, and nobody would notice before somebody wants to.
type judgedBy struct {
	first map[revision]string // where each is named first
}

// revision is one digest, of what.
type revision struct{ of, digest string }

// kept tells whether a file beside the record stands for it; a build and time tables are the program's own.
func (r revision) kept() bool { return r.of == "limits" || r.of == "rules" || r.of == "rig" }

// fold has each fold that begin makes look on.
func (j *judgedBy) fold(begin func(chain string) record.Folder) func(chain string) record.Folder {
	j.first = map[revision]string{}
	return func(chain string) record.Folder { return &judgedFold{Folder: begin(chain), by: j} }
}

type judgedFold struct {
	record.Folder
	by   *judgedBy
	last [][]byte // digests of the entry before
}

// Apply takes one entry in. One in which those of the entry before stand is not decoded: they change with a start, and an entry is large.
func (f *judgedFold) Apply(e record.Entry) error {
	missed := func(digest []byte) bool { return !bytes.Contains(e.Body, digest) }
	if len(f.last) == 0 || slices.ContainsFunc(f.last, missed) {
		f.last = nil
		if b, err := state.Decode(e.Body); err == nil { // else the fold itself says so
			for of, digest := range b.Revs {
				f.last = append(f.last, []byte(digest))
				if at := (revision{of, digest}); at.kept() && f.by.first[at] == "" {
					f.by.first[at] = fmt.Sprintf("%s/%d", e.Chain, e.Number)
				}
			}
		}
	}
	return f.Folder.Apply(e)
}

// beside says what of all that is gone from a folder, and what there is not what its name says; spoilt: some is certainly so, for its name is the
// SHA-256 of its bytes. A rig's is of what the file means, and what of it cannot be read here (meshes are left out of it) is not accused.
// It ends with ctx, and tells nothing then.
func (j *judgedBy) beside(ctx context.Context, v revisionFolder) (lines []string, spoilt bool) {
	var gone, other []string
	for _, r := range slices.SortedFunc(maps.Keys(j.first), func(a, b revision) int { return strings.Compare(a.of+a.digest, b.of+b.digest) }) {
		if ctx.Err() != nil {
			return nil, false
		}
		name := map[string]string{"limits": "limits-" + r.digest + ".json", "rules": "rules-" + r.digest + ".txt", "rig": "rig-" + r.digest}[r.of]
		said := fmt.Sprintf("  %s, of %s and on", name, j.first[r])
		var err error
		if r.of == "rig" {
			err = v.isRig(ctx, name, r.digest)
		} else if err = v.isText(name, r.digest); errors.Is(err, errOther) {
			spoilt = true
		}
		switch {
		case err == nil:
		case errors.Is(err, fs.ErrNotExist):
			gone = append(gone, said)
		case errors.Is(err, errOther):
			other = append(other, said)
		default:
			other = append(other, fmt.Sprintf("%s (%v)", said, err))
		}
	}
	folder := filepath.Base(v.path)
	if len(gone) > 0 && len(gone) == len(j.first) {
		return []string{"What judged its answers is told by digests alone: none of what they stand for is beside it, in the folder " + folder + "."}, false
	}
	if len(gone) > 0 {
		lines = append(append(lines, "Of what judged its answers this is gone from the folder "+folder+":"), gone...)
	}
	if len(other) > 0 {
		lines = append(append(lines, "Of what judged its answers this, in the folder "+folder+", is not what its name says:"), other...)
	}
	return lines, spoilt
}

// largestKept bounds a kept file that is read: no text or rig file comes near it.
const largestKept = 16 << 20

// read reads a kept file. What bears its name and is a pipe, a folder, a link, or larger than any that is kept, is not what its name says: nothing that
// keeps (keep) makes such.
func (v revisionFolder) read(name string) ([]byte, error) {
	path := filepath.Join(v.path, name)
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() || info.Size() > largestKept {
		return nil, errOther
	}
	// One that changed its kind meanwhile is opened without waiting for who writes to it, and no link is followed.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK|syscall.O_NOFOLLOW, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if now, err := f.Stat(); err != nil || !os.SameFile(info, now) {
		return nil, errors.Join(err, errOther)
	}
	content, err := io.ReadAll(io.LimitReader(f, largestKept+1))
	if err == nil && len(content) > largestKept { // it grew
		return nil, errOther
	}
	return content, err
}

// isText tells whether a file is there and has the SHA-256 that its name says.
func (v revisionFolder) isText(name, digest string) error {
	content, err := v.read(name)
	if err != nil {
		return err
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != digest {
		return errOther
	}
	return nil
}

// isRig tells whether a rig file is there that has the digest, as far as this program can read it.
func (v revisionFolder) isRig(ctx context.Context, name, digest string) error {
	folder := filepath.Join(v.path, name)
	if info, err := os.Lstat(folder); err != nil || !info.IsDir() {
		return cmp.Or(err, errOther)
	}
	files, err := fs.Glob(os.DirFS(folder), "*.yaml")
	if err != nil || len(files) == 0 {
		return errors.Join(err, fs.ErrNotExist)
	}
	open := func(file string) ([]byte, error) {
		if filepath.Base(file) != file {
			return nil, fs.ErrNotExist // nothing is kept in folders below: meshes are left out
		}
		return v.read(filepath.Join(name, file))
	}
	other := false
	for _, file := range files {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		content, err := open(file)
		if err != nil {
			return err
		}
		r, _ := rig.Parse(file, content, open)
		if r != nil && hex.EncodeToString(r.Digest[:]) == digest {
			return nil
		}
		other = other || r != nil
	}
	if other {
		return errOther
	}
	return nil // a class file alone, meshes left out, or a file of another version
}
